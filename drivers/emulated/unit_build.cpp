#include "drivers/emulated/unit_build.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/noise.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

/// Where in the spread a unit lies, -1 to 1, for each property on its own.
class Spread {
 public:
  Spread(const std::string& serial, bool nominal) : chance_{0x50726f6f66, serial, 1}, nominal_{nominal} {}
  double draw() { return nominal_ ? 0 : chance_.symmetric(next_++); }

 private:
  Chance chance_;
  bool nominal_;
  std::uint64_t next_ = 0;
};

[[noreturn]] void refuse(const Defect& defect, const std::string& what, const std::string& remedy) {
  throw rig::RigFault{"defect " + defect.name, what, remedy};
}

/// The channel a defect of a pressure channel acts on.
const rig::PressureChannel& channel_of(const rig::Product& product, const Defect& defect) {
  return product.pressures[rig::find_pressure(product, defect.place).value_or(product.pressures.size() - 1)];
}

/// A defect that could do nothing is refused: a proof that looked for it would prove nothing.
void check_defect(const rig::Product& product, const Defect& defect) {
  const auto is = [&](std::initializer_list<std::string_view> names) {
    return std::find(names.begin(), names.end(), defect.name) != names.end();
  };
  const auto known = list_defects();
  if (std::none_of(known.begin(), known.end(), [&](const DefectKind& k) { return k.name == defect.name; })) {
    refuse(defect, "no such defect", "List them with --list-defects");
  }
  const bool temperature = product.temperature && product.temperature->name == defect.place;
  if (!defect.place.empty() && !rig::find_pressure(product, defect.place) && !(is({"input_drag"}) && temperature)) {
    refuse(defect, "it cannot act on '" + defect.place + "' of " + product.name,
           "Name a pressure channel of the product");
  }
  if (is({"channels_swapped", "crosstalk"}) && product.pressures.size() < 2) {
    refuse(defect, product.name + " has one pressure channel only", "Choose a product with two");
  }
  const bool of_table = is({"wrong_cell", "swapped_axes", "axis_off_by_one", "no_interpolation", "no_clamp",
                            "missing_derate", "disagreement", "excess_shift"});
  if (of_table && !channel_of(product, defect).shift) {
    refuse(defect, channel_of(product, defect).name + " of " + product.name + " has no shift",
           "Name a channel that has one");
  }
  if (is({"missing_derate"}) && !(channel_of(product, defect).shift->derate && product.temperature)) {
    refuse(defect, product.name + " does not derate that channel's shift", "Choose a product that does");
  }
}

/// The defects of one channel, by name.
class ChannelDefects {
 public:
  ChannelDefects(const std::vector<Defect>& defects, std::string_view channel, bool last)
      : defects_{defects}, channel_{channel}, last_{last} {}
  bool has(std::string_view name) const { return find(name); }
  double value(std::string_view name, double otherwise) const {
    const Defect* defect = find(name);
    return defect ? defect->value : otherwise;
  }

 private:
  const Defect* find(std::string_view name) const { return find_defect(defects_, name, channel_, last_); }
  const std::vector<Defect>& defects_;
  std::string_view channel_;
  bool last_;
};

std::int64_t tenths(double kilopascals) { return std::llround(kilopascals * 10); }

ChannelBuild build_channel(const rig::ModuleBuild& build, const ChannelDefects& defects, Spread& spread) {
  ChannelBuild channel;
  channel.gain = (1 + build.spread.gain * spread.draw()) * defects.value("gain", 1);
  channel.offset = build.spread.offset.value() * spread.draw() + defects.value("offset", 0);
  const double bypass = build.bypass_resistance.value() + build.spread.bypass.value() * spread.draw();
  channel.bypass_ohms = defects.value("leaky_bypass", std::max(bypass, 0.05));
  channel.has_bypass = !defects.has("no_bypass");
  const double filter = static_cast<double>(build.output_filter.count()) * (1 + build.spread.filter * spread.draw());
  channel.output_filter_ns = defects.has("slow_settle") ? defects.value("slow_settle", 0) * 1e9 : filter;
  channel.rail_distance = defects.value("rail_shy", channel.rail_distance);
  channel.noise = defects.value("noise", 0);
  channel.glitch = defects.value("startup_glitch", 0);
  channel.crosstalk = defects.value("crosstalk", 0);
  if (defects.has("stuck_output")) channel.stuck_at = defects.value("stuck_output", 0);
  channel.shift_short = tenths(defects.value("disagreement", 0));
  channel.shift_extra = tenths(defects.value("excess_shift", 0));
  channel.quirks.wrong_cell = tenths(defects.value("wrong_cell", 0));
  channel.quirks.swapped_axes = defects.has("swapped_axes");
  channel.quirks.axis_off = static_cast<int>(std::clamp(std::lround(defects.value("axis_off_by_one", 0)), -100L, 100L));
  channel.quirks.no_interpolation = defects.has("no_interpolation");
  channel.quirks.no_clamp = defects.has("no_clamp");
  channel.derated = !defects.has("missing_derate");
  return channel;
}

}  // namespace

UnitBuild build_unit(const rig::Product& product, const std::string& serial, const std::vector<Defect>& defects,
                     bool nominal) {
  for (const Defect& defect : defects) check_defect(product, defect);
  const rig::ModuleBuild& build = product.build;
  Spread spread{serial, nominal};
  UnitBuild unit;
  unit.serial = serial;
  unit.idle_current = build.idle_current.value() * (1 + build.spread.current * spread.draw());
  unit.inrush_current = build.inrush_current.value() * (1 + build.spread.current * spread.draw());
  unit.boot_ns = std::llround(static_cast<double>(build.boot.count()) * (1 + build.spread.boot * spread.draw()));
  unit.input_filter_ns = static_cast<double>(build.input_filter.count()) * (1 + build.spread.filter * spread.draw());
  unit.sample_ns = std::max<std::int64_t>(build.sample_period.count(), 1000);
  unit.sample_phase_ns = std::llround((1 + spread.draw()) / 2 * static_cast<double>(unit.sample_ns / 100)) * 100;
  if (nominal) unit.sample_phase_ns = 0;
  unit.inrush_ns = build.inrush_time.count();
  if (const Defect* defect = find_defect(defects, "high_current")) {
    unit.idle_current += defect->value, unit.inrush_current += defect->value;
  }
  if (const Defect* defect = find_defect(defects, "slow_start")) unit.boot_ns = std::llround(defect->value * 1e9);
  unit.channels_swapped = find_defect(defects, "channels_swapped") != nullptr;

  const double leakage = build.input_leakage.value() > 0 ? 1 / build.input_leakage.value() : 0;
  const auto drag = [&](std::string_view channel, bool last) {
    const Defect* defect = find_defect(defects, "input_drag", channel, last);
    return leakage + (defect ? 1 / std::max(defect->value * 1000, 1.0) : 0);
  };
  for (const rig::PressureChannel& pressure : product.pressures) {
    const bool last = &pressure == &product.pressures.back();
    unit.channels.push_back(build_channel(build, {defects, pressure.name, last}, spread));
    unit.leakage.push_back(drag(pressure.name, last));
  }
  if (product.temperature) unit.leakage.push_back(drag(product.temperature->name, false));
  return unit;
}

}  // namespace drivers::emulated
