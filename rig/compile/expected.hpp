#pragma once

#include <optional>
#include <span>

#include "rig/core/product.hpp"

/// What a product should put out: the model that its file states, in physical units.
namespace rig {

/// What the module sees, as measured at its pins.
struct OperatingPoint {
  Rpm speed;
  std::span<const Kilopascals> pressures;  ///< one per Product::pressures
  std::optional<Celsius> temperature;      ///< needed when a shift has a derate
};

/// shift(speed, index pressure) x derate(temperature); zero at standstill and for a channel that is not shifted.
Kilopascals expected_shift(const Product& product, std::size_t channel, const OperatingPoint& at);

/// reported = measured - shift, then the channel's limits. A measured value that already lies beyond a limit is not
/// pulled in by it: a module never repairs what the sensor says.
Kilopascals expected_output(const Product& product, std::size_t channel, const OperatingPoint& at);

/// Largest change of the shift per rpm around a point, in kPa per rpm: turns doubt about speed into doubt about
/// pressure.
double shift_per_rpm(const Product& product, std::size_t channel, const OperatingPoint& at);

}  // namespace rig
