#include "drivers/emulated/unit_build.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "drivers/emulated/defect_check.hpp"
#include "drivers/emulated/noise.hpp"
#include "drivers/emulated/unit_wires.hpp"

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
  channel.output_filter_ns = filter;
  for (const char* slow : {"slow_filter", "slow_settle"})
    if (defects.has(slow)) channel.output_filter_ns = defects.value(slow, 0) * 1e9;
  channel.rail_distance = defects.value("rail_shy", channel.rail_distance);
  channel.noise = defects.value("noise", 0);
  channel.glitch = defects.value("startup_glitch", 0);
  channel.tenth_start_glitch = defects.value("tenth_start_glitch", 0);
  channel.output_ohms = defects.value("weak_output", build.output_resistance.value());
  channel.adds_shift = defects.has("wrong_sign");
  channel.crosstalk = defects.value("crosstalk", 0);
  if (defects.has("stuck_output")) channel.stuck_at = defects.value("stuck_output", 0);
  channel.shift_short = tenths(defects.value("disagreement", 0));
  channel.shift_extra = tenths(defects.value("excess_shift", 0));
  channel.quirks.wrong_cell = tenths(defects.value("wrong_cell", 0));
  channel.quirks.swapped_axes = defects.has("swapped_axes");
  channel.quirks.axis_off = static_cast<int>(std::clamp(std::lround(defects.value("axis_off_by_one", 0)), -100L, 100L));
  channel.quirks.no_interpolation = defects.has("no_interpolation");
  channel.quirks.no_clamp = defects.has("no_clamp");
  channel.quirks.clamped_early = static_cast<int>(std::clamp(std::lround(defects.value("wrong_clamp", 0)), 0L, 100L));
  channel.derated = !defects.has("missing_derate");
  channel.backlash_kpa = std::max(defects.value("hysteresis", 0), 0.0);
  channel.limit_cycle = defects.value("limit_cycle", 0);
  channel.volts_per_kelvin = defects.value("temperature_drift", 0);
  channel.volts_per_volt = defects.value("supply_drift", 0);
  channel.ignores_reference = defects.has("ignores_reference");
  channel.hides_low = defects.has("hides_open");
  channel.hides_high = defects.has("hides_short");
  return channel;
}

FailsafeBuild build_failsafe(const rig::ModuleBuild::Failsafe& build, const std::vector<Defect>& defects) {
  const auto has = [&](std::string_view name) { return find_defect(defects, name) != nullptr; };
  const auto value = [&](std::string_view name, double otherwise) {
    const Defect* defect = find_defect(defects, name);
    return defect ? defect->value : otherwise;
  };
  constexpr double kHysteresis = 0.5;  // V, of a supply watch that decides elsewhere than it should
  constexpr std::int64_t kNever = FailsafeBuild::kNever;
  FailsafeBuild failsafe;
  failsafe.debounce_ns = has("late_failsafe") ? std::llround(value("late_failsafe", 0) * 1e9) : build.debounce.count();
  failsafe.healthy_ns = has("no_recovery") ? kNever : build.healthy.count();
  failsafe.ramp_in_ns = has("no_ramp_in") ? 0 : build.ramp_in.count();
  failsafe.latch_after = has("no_latch") ? kNever : build.latch_after;
  failsafe.latch_within_ns = build.latch_within.count();
  failsafe.watchdog_ns = has("no_watchdog") ? kNever : build.watchdog.count();
  failsafe.disagreement_kpa =
      has("no_disagreement_fallback") ? std::numeric_limits<double>::infinity() : build.disagreement.value();
  failsafe.brown_out = value("resets_on_dip", value("shifts_in_brown_out", build.brown_out.value()));
  failsafe.works_again = std::max(build.works_again.value(), value("resets_on_dip", 0) + kHysteresis);
  failsafe.one_sided = has("one_sided_fallback");
  return failsafe;
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

  unit.failsafe = build_failsafe(build.failsafe, defects);
  unit.keeps_speed = find_defect(defects, "no_speed_failsafe") != nullptr;
  unit.counts_rising = find_defect(defects, "doubled_edges") != nullptr;
  if (const Defect* defect = find_defect(defects, "cam_delay")) unit.speed_age_ns = std::llround(defect->value * 1e9);
  if (const Defect* defect = find_defect(defects, "relay_spike")) unit.relay_spike = defect->value;
  if (const Defect* defect = find_defect(defects, "intermittent_output"))
    unit.output_gap_ns = std::llround(defect->value * 1e9);

  if (const Defect* defect = find_defect(defects, "floating_without_ground")) unit.float_volts = defect->value;
  unit.other_firmware = find_defect(defects, "wrong_firmware") != nullptr;
  unit.other_table = find_defect(defects, "wrong_table") != nullptr;
  unit.start_phase = static_cast<int>(Chance{0x50726f6f66, serial, 4}.bits(0) % 10);

  for (const rig::PressureChannel& pressure : product.pressures) {
    const bool last = &pressure == &product.pressures.back();
    unit.channels.push_back(build_channel(build, {defects, pressure.name, last}, spread));
    if (const Defect* table = find_defect(defects, "wrong_table")) {
      unit.channels.back().quirks.other_table = table->value;
    }
  }
  build_wires(product, defects, nominal, unit);
  return unit;
}

}  // namespace drivers::emulated
