#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/compile/readings.hpp"

namespace rig {

/// What stood at the module's pins in each 1 ms bin of a segment, in physical units: inputs by the sensors' rail,
/// outputs by the controller's, both as the means of their bins.
struct PressureCourse {
  std::string voided;      ///< why nothing can be said; empty when something can
  std::string unit_fault;  ///< nothing can be measured, and the unit is why
  std::size_t bins = 0;
  std::vector<std::vector<double>> in, out;  ///< kPa, per pressure of the product
  std::vector<double> temperature;           ///< degC; empty where the product has none
  std::vector<double> sensor_rail;           ///< V, per rail, in the first bin
};

PressureCourse pressure_course(const Product& product, const TrackMap& tracks, const Readings& readings);

}  // namespace rig
