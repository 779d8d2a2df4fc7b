#include "drivers/emulated/unit_wires.hpp"

#include <algorithm>
#include <cmath>
#include <string_view>

#include "drivers/emulated/noise.hpp"

namespace drivers::emulated {
namespace {

/// The defects of one wire, by its name; `usual` says that they act here when no place is given.
struct WireDefects {
  const std::vector<Defect>& defects;
  std::string_view wire;
  bool usual;
  const Defect* find(std::string_view name) const { return find_defect(defects, name, wire, usual); }
  /// Ohms more in the unit's own pin.
  double worn() const {
    const Defect* defect = find("worn_contact");
    return defect ? std::max(defect->value, 0.0) : 0;
  }
};

double siemens(double ohms) { return 1 / std::max(ohms, 1.0); }

/// Siemens at an input pin.
double leakage(const rig::Product& product, const WireDefects& defects) {
  double sum = 0;
  const double usual = product.build.input_leakage.value();
  if (usual > 0 && !product.straight_through) sum += siemens(usual);
  if (const Defect* drag = defects.find("input_drag")) sum += siemens(drag->value * 1000);
  if (const Defect* leak = defects.find("input_leakage")) sum += siemens(leak->value);
  return sum;
}

WireBuild build_wire(double through_ohms, const WireDefects& defects) {
  WireBuild wire;
  wire.through_ohms = through_ohms;
  wire.worn_ohms = defects.worn();
  if (const Defect* clamp = defects.find("half_power_clamp")) wire.clamp_ohms = std::max(clamp->value, 1.0);
  return wire;
}

/// Where the module's comparator decides: somewhere within what the product promises of it, well clear of its ends.
void set_thresholds(const rig::SpeedInput& input, const std::vector<Defect>& defects, double draw, double other,
                    SpeedBuild& speed) {
  const double low = input.reads_low_below.value(), high = input.reads_high_above.value();
  double hysteresis = std::min(input.least_hysteresis.value() * (2 + 0.5 * draw), 0.8 * (high - low));
  const double room = (high - low - hysteresis) / 2;
  const double middle = (low + high) / 2 + 0.4 * room * other;
  if (const Defect* defect = find_defect(defects, "wrong_threshold", "hysteresis", false)) {
    hysteresis = std::max(input.least_hysteresis.value() - defect->value, 0.01);
  }
  speed.lower = middle - hysteresis / 2;
  speed.upper = middle + hysteresis / 2;
  if (const Defect* defect = find_defect(defects, "wrong_threshold", "low", true)) speed.lower = low - defect->value;
  if (const Defect* defect = find_defect(defects, "wrong_threshold", "high", false)) speed.upper = high + defect->value;
}

SpeedBuild build_speed(const rig::Product& product, const std::vector<Defect>& defects, const Chance& chance,
                       bool nominal) {
  const auto draw = [&](std::uint64_t counter) { return nominal ? 0 : chance.symmetric(counter); };
  const WireDefects here{defects, "speed", false};
  SpeedBuild speed;
  speed.through_ohms = product.build.speed_resistance.value() + here.worn();
  speed.open = here.find("open_through") != nullptr;
  if (const Defect* drag = find_defect(defects, "dragged_speed")) speed.drag_ohms = std::max(drag->value, 1.0);
  if (const Defect* own = find_defect(defects, "own_pull_up")) speed.own_pull_up = std::max(own->value, 1.0);
  set_thresholds(product.speed.input, defects, draw(0), draw(1), speed);
  speed.delay_ns = std::llround(2000 + 500 * draw(2));  // common practice, no source: a comparator and a transistor
  speed.jitter_ns = nominal ? 0 : 250;
  return speed;
}

}  // namespace

void build_wires(const rig::Product& product, const std::vector<Defect>& defects, bool nominal, UnitBuild& unit) {
  // A plug has no relay and no spread: the same copper on every line.
  const double copper =
      (product.straight_through ? product.build.bypass_resistance : product.build.speed_resistance).value();
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    const WireDefects here{defects, product.pressures[i].name, i + 1 == product.pressures.size()};
    if (product.straight_through) unit.channels[i].bypass_ohms = copper;
    unit.leakage.push_back(leakage(product, here));
    unit.wires.push_back(build_wire(unit.channels[i].bypass_ohms, here));
  }
  if (product.temperature) {
    const bool relay = product.temperature->routing == rig::TemperatureRouting::redriven && !product.straight_through;
    const WireDefects here{defects, product.temperature->name, false};
    unit.leakage.push_back(leakage(product, here));
    unit.wires.push_back(build_wire(relay ? product.build.bypass_resistance.value() : copper, here));
    unit.wires.back().open = here.find("open_through") != nullptr;
  }
  for (const rig::Rail& rail : product.rails) {
    const WireDefects here{defects, rail.name, &rail == &product.rails.front()};
    const Defect* worn = find_defect(defects, "worn_contact", rail.name, false);
    unit.rails.push_back({product.build.rail_resistance.value() + (worn ? std::max(worn->value, 0.0) : 0),
                          here.find("open_through") != nullptr});
  }
  unit.ground_ohms = product.build.ground_resistance.value() + WireDefects{defects, "ground", false}.worn();
  if (const Defect* joined = find_defect(defects, "cross_feed")) unit.cross_feed = std::max(joined->value, 0.1);
  unit.speed = build_speed(product, defects, Chance{0x50726f6f66, unit.serial, 3}, nominal);
}

}  // namespace drivers::emulated
