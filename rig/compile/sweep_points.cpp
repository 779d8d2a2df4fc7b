#include "rig/compile/sweep_points.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

/// Pressures of every channel when the index pressure is `index`: the charge pressure lies a throttle drop above the
/// manifold's, kept inside what each sensor may see.
std::vector<Kilopascals> pressures_at(const Product& product, Kilopascals index, Kilopascals drop) {
  const auto which = index_pressure(product);
  std::vector<Kilopascals> all;
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    const auto& channel = product.pressures[i];
    const auto sign = channel.name == "charge_pressure" ? 1.0 : -1.0;
    const auto wanted = i == which ? index : index + sign * drop;
    all.push_back(std::clamp(wanted, channel.lowest_input, channel.highest_input));
  }
  return all;
}

std::vector<Kilopascals> ascending(std::vector<Kilopascals> values) {
  std::sort(values.begin(), values.end());
  return values;
}

Kilopascals drop_for(const SweepSpec& spec, std::size_t point) {
  return spec.throttle_drop.empty() ? Kilopascals{0} : spec.throttle_drop[point % spec.throttle_drop.size()];
}

}  // namespace

std::size_t index_pressure(const Product& product) {
  for (const auto& channel : product.pressures)
    if (channel.shift) return channel.shift->index_pressure;
  return 0;
}

std::vector<SweepPoint> sweep_points(const Product& product, const SweepSpec& spec) {
  std::vector<SweepPoint> points;
  auto speeds = spec.speeds;
  std::sort(speeds.begin(), speeds.end());
  const auto rising = ascending(spec.pressures);
  std::vector<std::optional<Celsius>> temperatures{spec.temperatures.begin(), spec.temperatures.end()};
  if (!product.temperature || temperatures.empty()) temperatures.assign(1, std::nullopt);

  double owed = 0;  // readings from above that the share still asks for
  for (const auto temperature : temperatures) {
    for (const auto speed : speeds) {
      const auto row = points.size();
      for (std::size_t i = 0; i < rising.size(); ++i)
        points.push_back(
            {speed, pressures_at(product, rising[i], drop_for(spec, i)), rising[i], temperature, false, {}, i == 0});
      // Never the topmost: nothing in the row lies above it.
      for (std::size_t i = rising.size() - 1; i-- > 0;) {
        owed += spec.from_above;
        if (owed < 1) continue;
        owed -= 1;
        auto again = points[row + i];
        again.from_above = true;
        again.first_reading = row + i;
        again.speed_changes = false;
        points.push_back(again);
      }
    }
    std::reverse(speeds.begin(), speeds.end());  // the next temperature starts where this one ended
  }
  return points;
}

std::vector<SweepPoint> response_points(const Product& product, const SweepSpec& spec) {
  if (product.pressures.size() != 2 || spec.speeds.empty() || spec.pressures.empty()) return {};
  auto speeds = spec.speeds;
  std::sort(speeds.begin(), speeds.end());
  const auto pressures = ascending(spec.pressures);
  const auto middle = pressures[pressures.size() / 2];
  constexpr Kilopascals kRaise{20};
  std::optional<Celsius> temperature;
  if (product.temperature && !spec.temperatures.empty()) temperature = spec.temperatures.front();
  const SweepPoint base{speeds[speeds.size() / 2],
                        pressures_at(product, middle, drop_for(spec, 0)),
                        middle,
                        temperature,
                        false,
                        {},
                        true};
  std::vector<SweepPoint> points{base};
  for (std::size_t i = 0; i < 2; ++i) {
    auto raised = base;
    raised.speed_changes = false;
    raised.pressures[i] = std::min(raised.pressures[i] + kRaise, product.pressures[i].highest_input);
    points.push_back(raised);
  }
  return points;
}

Tolerance tolerance_at(const SweepSpec& spec, const SweepPoint& point) {
  auto inside = [](auto value, const auto& from, const auto& to) {
    return (!from || value >= *from) && (!to || value <= *to);
  };
  Tolerance tolerance = spec.band;
  for (const auto& region : spec.regions) {
    if (!inside(point.speed, region.speed_from, region.speed_to)) continue;
    if (!inside(point.index, region.pressure_from, region.pressure_to)) continue;
    if (point.temperature && !inside(*point.temperature, region.temperature_from, region.temperature_to)) continue;
    tolerance = region.tolerance;
  }
  return tolerance;
}

}  // namespace rig
