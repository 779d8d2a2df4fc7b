// What the module's program reports, and what its output stage makes of it.
#include <algorithm>
#include <cmath>

#include "drivers/emulated/climate.hpp"
#include "drivers/emulated/module.hpp"

namespace drivers::emulated {
namespace {

constexpr double kTurns = 2 * 3.14159265358979323846e-9;  // a nanosecond's share of a turn at 1 Hz
constexpr double kLimitCycleHertz = 4;
constexpr double kCatalogueCelsius = 25;  // where an output that drifts is right

}  // namespace

/// A pressure beyond its rails is passed on as it is, and takes the others with it: at once, before the relay falls.
bool Module::shifts(const Channel& channel, std::int64_t now) const {
  if (!channel.shift || engine_speed_ <= 0 || now < shifts_from_ || at_rail(channel)) return false;
  return build_.failsafe.one_sided || !at_rail(channels_[channel.index_pressure]);
}

/// In 64ths of 0.1 kPa.
std::int64_t Module::shift_of(std::size_t i, std::int64_t now) const {
  const Channel& channel = channels_[i];
  const ChannelBuild& build = build_.channels[i];
  const Channel& index = channels_[channel.index_pressure];
  std::int64_t shift = channel.shift->at(engine_speed_, index.to_pressure.at(index.valid));  // 65536ths of 0.1 kPa
  if (channel.derate) shift = (shift * (channel.derate->at(temperature_) >> 16)) >> 16;
  if (build.shift_extra != 0) shift += shift * build.shift_extra / std::max<std::int64_t>(channel.shift->largest(), 1);
  if (build.shift_short != 0 && shift > 65536) shift -= build.shift_short << 16;
  if (now < shifts_from_ + build_.failsafe.ramp_in_ns)
    shift = shift * (now - shifts_from_) / build_.failsafe.ramp_in_ns;
  if (build.adds_shift) shift = -shift;
  return (shift * 64 + 32768) >> 16;
}

/// What the output stage is told: its input as it is, or the pressure that the table leaves.
std::int64_t Module::reported(std::size_t i, std::int64_t now) {
  Channel& channel = channels_[i];
  const std::int64_t backlash = std::llround(build_.channels[i].backlash_kpa * kPressureUnits);
  const bool shifted = shifts(channel, now);
  if (!channel.product || (!shifted && backlash == 0) || at_rail(channel)) return channel.fraction;
  const std::int64_t measured = channel.to_pressure.at(channel.fraction);
  channel.played = std::clamp(channel.played, measured - backlash / 2, measured + backlash / 2);
  const std::int64_t pressure = channel.played - (shifted ? shift_of(i, now) : 0);
  return channel.to_fraction.at(std::clamp(pressure, channel.lowest, channel.highest));
}

/// What the output stage must give so that its pin shows `volts` against the controller's pull-up.
double Module::redriven(double volts, double rail) const { return volts - (rail - volts) * pull_share_; }

double Module::output_volts(std::size_t i, std::int64_t fraction, const Pins& pins, std::int64_t now) const {
  const ChannelBuild& build = build_.channels[i];
  if (build.stuck_at) return *build.stuck_at;
  const std::size_t number = channels_[i].product ? channels_[i].product->rail : product_.temperature->rail;
  const double rail = pins.rails[number];
  const double reference = build.ignores_reference ? product_.rails[number].nominal.value() : rail;
  if (build.crosstalk != 0 && product_.pressures.size() > 1) {
    const std::int64_t difference = channels_[i == 0 ? 1 : 0].fraction - channels_[i].fraction;
    fraction += std::llround(build.crosstalk * static_cast<double>(difference));
  }
  const int bits = product_.build.dac_bits, lost = kFractionBits - bits;
  const std::int64_t most = (std::int64_t{1} << bits) - 1;
  const std::int64_t code = std::clamp<std::int64_t>((fraction + (std::int64_t{1} << lost) / 2) >> lost, 0, most);
  double volts = static_cast<double>(code) / static_cast<double>(most + 1) * reference * build.gain + build.offset;
  if (!channels_[i].product) volts = redriven(volts, rail);
  if (build.noise > 0) {
    volts += build.noise * normal().from(noise_.bits(static_cast<std::uint64_t>(now)), static_cast<int>(i));
  }
  volts += drift_volts(i, pins, now);
  if (now < glitch_until_) volts += build.glitch + (tenth_start_ ? build.tenth_start_glitch : 0);
  if (now < spike_until_) volts += build_.relay_spike;
  return std::clamp(volts, build.rail_distance, std::max(build.rail_distance, rail - build.rail_distance));
}

/// What moves an output though its input stands still.
double Module::drift_volts(std::size_t i, const Pins& pins, std::int64_t now) const {
  const ChannelBuild& build = build_.channels[i];
  double volts = 0;
  if (build.limit_cycle != 0) {
    volts += build.limit_cycle / 2 * std::sin(kTurns * kLimitCycleHertz * static_cast<double>(now));
  }
  if (build.volts_per_kelvin != 0) volts += build.volts_per_kelvin * (fixture_celsius(seed_, now) - kCatalogueCelsius);
  if (build.volts_per_volt != 0) volts += build.volts_per_volt * (pins.battery - product_.battery.nominal.value());
  return volts;
}

}  // namespace drivers::emulated
