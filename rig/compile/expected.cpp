#include "rig/compile/expected.hpp"

#include <algorithm>
#include <cmath>

namespace rig {

Kilopascals expected_shift(const Product& product, std::size_t channel, const OperatingPoint& at) {
  const auto& shift = product.pressures[channel].shift;
  if (!shift || at.speed <= Rpm{0}) return Kilopascals{0};
  const double table =
      product.tables[shift->table].table(at.speed.value(), at.pressures[shift->index_pressure].value());
  const double derate =
      shift->derate && at.temperature ? product.tables[*shift->derate].table(at.temperature->value()) : 1.0;
  return Kilopascals{table * derate};
}

Kilopascals expected_output(const Product& product, std::size_t channel, const OperatingPoint& at) {
  const auto& pressure = product.pressures[channel];
  const auto measured = at.pressures[channel];
  const auto reported = measured - expected_shift(product, channel, at);
  const auto low = std::min(pressure.lowest_reported, measured);
  const auto high = std::max(pressure.highest_reported, measured);
  return std::clamp(reported, low, high);
}

double shift_per_rpm(const Product& product, std::size_t channel, const OperatingPoint& at) {
  constexpr double kStep = 5;  // rpm; small against any spacing of breakpoints
  auto moved = [&](double by) {
    return expected_shift(product, channel, {Rpm{std::max(1.0, at.speed.value() + by)}, at.pressures, at.temperature});
  };
  const auto here = moved(0);
  return std::max(std::abs((moved(kStep) - here).value()), std::abs((moved(-kStep) - here).value())) / kStep;
}

}  // namespace rig
