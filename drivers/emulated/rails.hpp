#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <vector>

#include "drivers/emulated/network.hpp"

/// The 5 V rails, one or two, and the module's ground: one network, because the sensors' currents and a leak between
/// the rails join them.
namespace drivers::emulated {

/// One rail in the order of its path; ohms unless said otherwise. What is not there is not connected.
struct RailNetwork {
  std::optional<double> source;       ///< the supply's resistance while driven; or that of whatever feeds an open rail
  double leakage = 0;                 ///< A out of the supply's and the sense's terminals
  double sense_controller_load = 0;   ///< siemens to zero
  std::optional<double> contact_in;   ///< isolator's contact and fixture's, on the controller's side
  double own_draw = 0;                ///< siemens from the module's controller-side pin to its ground
  std::optional<double> copper;       ///< through the module
  std::optional<double> contact_out;  ///< fixture's, on the sensors' side
  double sense_sensor_load = 0;       ///< siemens to zero
  std::optional<double> sensors;      ///< what the sensors draw, to the module's sensor-side ground pin
};

struct RailsNetwork {
  std::vector<RailNetwork> rails;    ///< one or two
  std::optional<double> cross_feed;  ///< between the two rails within the module
  std::optional<double> ground;      ///< from the module's ground to zero: contact and copper. Nothing: broken
};

struct SolvedRail {
  Mixture controller;         ///< sense_controller
  Mixture module_controller;  ///< the module's pin on the controller's side
  Mixture module_sensor;      ///< its pin on the sensors' side
  Mixture sensor;             ///< sense_sensor
};
struct SolvedRails {
  std::vector<SolvedRail> rails;
  /// The module's ground. With the ground broken nothing flows through it any more (what flows back there has no other
  /// way, and the unit stops drawing), and what is left of the network holds it at zero.
  Mixture ground{};
};

SolvedRails solve(const RailsNetwork& network);

}  // namespace drivers::emulated
