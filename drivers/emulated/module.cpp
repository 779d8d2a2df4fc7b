#include "drivers/emulated/module.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

// The program's units. A voltage is a fraction of its 5 V rail, a pressure 64ths of 0.1 kPa, a temperature 64ths of a
// degree.
constexpr int kFractionBits = 20;
constexpr std::int64_t kWholeRail = std::int64_t{1} << kFractionBits;
constexpr double kPressureUnits = 640, kTemperatureUnits = 64;

constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::max();
constexpr double kBatteryNeeded = 5.0;           // V; common practice, no source
constexpr double kRailShareNeeded = 0.85;        // of the rail's lowest
constexpr double kPresetTimeConstants = 8;       // of the output filter, standing at the input before the relay pulls
constexpr std::int64_t kRelayPull = 1'500'000;   // from the coil to the first contact
constexpr std::int64_t kRelayOverlap = 500'000;  // make before break
constexpr std::int64_t kHandover = 7'000'000;    // from working or bypass released until the shift counts
constexpr std::int64_t kGlitch = 3'000'000;

std::int64_t fraction_of(double share) { return std::llround(share * static_cast<double>(kWholeRail)); }

ModuleCurve pressure_curve(const rig::PressureCurve& curve) {
  std::vector<ModuleCurve::Point> points;
  for (const auto& point : curve.points()) {
    points.push_back(
        {fraction_of(point.volts / curve.nominal_rail()), std::llround(point.pressure.value() * kPressureUnits)});
  }
  return ModuleCurve{std::move(points)};
}

/// The thermistor as a table over the converter's range, as such a program carries it.
ModuleCurve temperature_curve(const rig::TemperatureCurve& curve) {
  constexpr int kPieces = 128;
  std::vector<ModuleCurve::Point> points;
  for (int i = 1; i < kPieces; ++i) {
    const double share = static_cast<double>(i) / kPieces;
    const double celsius = std::clamp(curve.temperature(rig::Volts{5 * share}, rig::Volts{5}).value(), -100.0, 400.0);
    points.push_back({fraction_of(share), std::llround(celsius * kTemperatureUnits)});
  }
  return ModuleCurve{std::move(points)};
}

ModuleCurve straight() { return ModuleCurve{{{0, 0}, {kWholeRail, kWholeRail}}}; }

const rig::Table& table_of(const rig::Product& product, std::size_t which, std::size_t axes) {
  if (which >= product.tables.size() || product.tables[which].table.axes() != axes) {
    throw rig::RigFault{"emulated unit",
                        "a shift of " + product.name + " has no table over " + std::to_string(axes) + " axes",
                        "Correct the product"};
  }
  return product.tables[which].table;
}

}  // namespace

Module::Module(const rig::Product& product, UnitBuild build, std::uint64_t seed, std::int64_t tick_ns)
    : product_{product},
      build_{std::move(build)},
      noise_{seed, build_.serial, 2},
      speed_{product.speed.wheel, static_cast<std::uint32_t>(1'000'000'000 / tick_ns),
             product.build.speed_timeout_intervals},
      tick_ns_{tick_ns},
      next_sample_{product.straight_through ? kNever : build_.sample_phase_ns},  // a plug has nothing that runs
      contact_due_{kNever} {
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    const rig::PressureChannel& pressure = product.pressures[i];
    Channel channel{&pressure, pressure_curve(pressure.curve), pressure_curve(pressure.curve).inverse(), {}, 0, {}};
    const double nominal = pressure.curve.nominal_rail().value();
    channel.low_rail = fraction_of(pressure.rails.low.value() / nominal);
    channel.high_rail = fraction_of(pressure.rails.high.value() / nominal);
    channel.lowest = std::llround(pressure.lowest_reported.value() * kPressureUnits);
    channel.highest = std::llround(pressure.highest_reported.value() * kPressureUnits);
    if (pressure.shift) {
      const std::vector<double> axes{double{ModuleSpeed::kUnits}, kPressureUnits};
      channel.shift.emplace(table_of(product, pressure.shift->table, 2), axes, 10, build_.channels[i].quirks);
      channel.index_pressure = pressure.shift->index_pressure;
      if (pressure.shift->derate && build_.channels[i].derated && product.temperature) {
        channel.derate.emplace(table_of(product, *pressure.shift->derate, 1), std::vector{kTemperatureUnits}, 65536);
      }
    }
    channels_.push_back(std::move(channel));
  }
  if (product.temperature) {
    to_temperature_ = temperature_curve(product.temperature->curve);
    if (product.temperature->routing == rig::TemperatureRouting::redriven) {
      channels_.push_back(Channel{nullptr, straight(), straight(), {}, 0, {}});
      ChannelBuild plain;
      const double sources = product.temperature->pull_up_at == rig::PullUpPlace::both ? 2 : 1;
      if (product.temperature->pull_up_at != rig::PullUpPlace::module) {
        pull_share_ = product.build.output_resistance.value() / (sources * product.temperature->curve.pull_up.value());
      }
      plain.output_filter_ns = static_cast<double>(product.build.output_filter.count());
      build_.channels.push_back(plain);
    }
  }
  noisy_ =
      std::any_of(build_.channels.begin(), build_.channels.end(), [](const ChannelBuild& c) { return c.noise > 0; });
  if (build_.input_filter_ns > 0) {
    filter_share_ =
        std::llround(65536 * (1 - std::exp(-static_cast<double>(build_.sample_ns) / build_.input_filter_ns)));
  }
}

std::int64_t Module::next() const { return std::min(next_sample_, contact_due_); }

Module::Changes Module::run(std::int64_t now, const Pins& pins) {
  Changes changes;
  while (contact_due_ <= now) move_contact(contact_due_, changes);
  if (next_sample_ > now) return changes;
  next_sample_ += build_.sample_ns;
  power(now, pins, changes);
  const bool floats = build_.float_volts && pins.fed_anyway;
  if (floats != floats_) lose_ground(now, floats, changes);
  if (state_ != State::working) return changes;
  if (now >= ready_ && coil_ == pins.bypass_requested) energise(!pins.bypass_requested, now);
  changes.outputs = sample(pins);
  const std::int64_t speed = speed_.at(static_cast<std::uint64_t>(now / tick_ns_));
  changes.outputs |= speed != engine_speed_ || now - build_.sample_ns <= shifts_from_ || pins.moved;
  changes.outputs |= noisy_;
  engine_speed_ = speed;
  if (!changes.outputs) return changes;
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    const bool shifts = channels_[i].shift && engine_speed_ > 0 && now >= shifts_from_ && !at_rail(channels_[i]) &&
                        !at_rail(channels_[channels_[i].index_pressure]);
    const std::size_t rail = channels_[i].product ? channels_[i].product->rail : product_.temperature->rail;
    channels_[i].volts = output_volts(i, shifts ? shifted(i) : channels_[i].fraction, pins.rails[rail], now);
  }
  return changes;
}

/// Battery and every rail are needed to work; the battery alone is enough to draw current.
void Module::power(std::int64_t now, const Pins& pins, Changes& changes) {
  const double before = current_;
  if (pins.battery < kBatteryNeeded) {
    current_ = 0;
  } else if (current_ == 0) {
    inrush_until_ = now + build_.inrush_ns;
    current_ = build_.inrush_current;
  } else if (now >= inrush_until_) {
    current_ = build_.idle_current;
  }
  changes.current = current_ != before;

  bool powered = pins.battery >= kBatteryNeeded;
  for (std::size_t i = 0; i < product_.rails.size(); ++i) {
    powered = powered && pins.rails[i] >= kRailShareNeeded * product_.rails[i].lowest.value();
  }
  if (!powered && state_ != State::off) {
    state_ = State::off;
    energise(false, now);
    speed_.forget();
  } else if (powered && state_ == State::off) {
    state_ = State::booting;
    started_ = now;
  } else if (state_ == State::booting && now - started_ >= build_.boot_ns) {
    start_working(now, pins);
  }
}

/// A good module lets go of its relay when its supply current has no way back. One that does not leaves its outputs
/// connected, and they stand at whatever its parts leak there.
void Module::lose_ground(std::int64_t now, bool floats, Changes& changes) {
  floats_ = floats;
  energise(floats, now);
  if (!floats) return;
  for (Channel& channel : channels_) channel.volts = *build_.float_volts;
  changes.outputs = true;
}

void Module::start_working(std::int64_t now, const Pins& pins) {
  state_ = State::working;
  tenth_start_ = starts_++ % 10 == build_.start_phase;
  for (std::size_t i = 0; i < channels_.size(); ++i) channels_[i].fraction = convert(pins.lines[i], pins.line_rails[i]);
  engine_speed_ = 0;
  settled_ = false;
  shifts_from_ = kNever;
  ready_ = now + std::llround(kPresetTimeConstants * static_cast<double>(product_.build.output_filter.count()));
}

void Module::energise(bool on, std::int64_t now) {
  if (coil_ == on) return;
  coil_ = on;
  shifts_from_ = on ? now + kHandover : kNever;
  contact_due_ = now + (contact_ == Contact::both ? kRelayOverlap : kRelayPull);
}

void Module::move_contact(std::int64_t now, Changes& changes) {
  contact_due_ = kNever;
  const Contact end = coil_ ? Contact::pulled : Contact::released;
  if (contact_ == end) return;
  if (contact_ == Contact::both) {
    contact_ = end;
  } else {
    contact_ = Contact::both;
    contact_due_ = now + kRelayOverlap;
    if (coil_) glitch_until_ = now + kGlitch;
  }
  changes.contacts = true;
}

std::int64_t Module::convert(double volts, double rail) const {
  const int bits = product_.build.adc_bits;
  const double codes = static_cast<double>(std::int64_t{1} << bits);
  const double code = rail > 0.1 ? volts / rail * codes + 0.5 : 0;
  return static_cast<std::int64_t>(std::clamp(code, 0.0, codes - 1)) << (kFractionBits - bits);
}

/// Converts and filters every input. True if any filtered value moved.
bool Module::sample(const Pins& pins) {
  if (settled_ && !pins.moved) return false;
  bool moved = false;
  const std::size_t last = product_.pressures.size() - 1;
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    std::size_t line = i;
    if (build_.channels_swapped && (i == 0 || i == last)) line = last - i;
    const std::int64_t way = convert(pins.lines[line], pins.line_rails[line]) - channels_[i].fraction;
    const std::int64_t step = (way * filter_share_) >> 16;
    channels_[i].fraction += step;
    moved |= step != 0;
  }
  if (to_temperature_) {
    const std::int64_t fraction = convert(pins.lines.back(), pins.line_rails.back());
    if (fraction != temperature_fraction_) {
      temperature_fraction_ = fraction;
      temperature_ = to_temperature_->at(fraction);
      moved = true;
    }
  }
  settled_ = !moved;
  return moved;
}

std::int64_t Module::shifted(std::size_t i) const {
  const Channel& channel = channels_[i];
  const ChannelBuild& build = build_.channels[i];
  const Channel& index = channels_[channel.index_pressure];
  std::int64_t shift = channel.shift->at(engine_speed_, index.to_pressure.at(index.fraction));  // 65536ths of 0.1 kPa
  if (channel.derate) shift = (shift * (channel.derate->at(temperature_) >> 16)) >> 16;
  if (build.shift_extra != 0) shift += shift * build.shift_extra / std::max<std::int64_t>(channel.shift->largest(), 1);
  if (build.shift_short != 0 && shift > 65536) shift -= build.shift_short << 16;
  if (build.adds_shift) shift = -shift;
  const std::int64_t pressure = channel.to_pressure.at(channel.fraction) - ((shift * 64 + 32768) >> 16);
  return channel.to_fraction.at(std::clamp(pressure, channel.lowest, channel.highest));
}

/// What the output stage must give so that its pin shows `volts` against the controller's pull-up.
double Module::redriven(double volts, double rail) const { return volts - (rail - volts) * pull_share_; }

double Module::output_volts(std::size_t i, std::int64_t fraction, double rail, std::int64_t now) const {
  const ChannelBuild& build = build_.channels[i];
  if (build.stuck_at) return *build.stuck_at;
  if (build.crosstalk != 0 && product_.pressures.size() > 1) {
    const std::int64_t difference = channels_[i == 0 ? 1 : 0].fraction - channels_[i].fraction;
    fraction += std::llround(build.crosstalk * static_cast<double>(difference));
  }
  const int bits = product_.build.dac_bits, lost = kFractionBits - bits;
  const std::int64_t most = (std::int64_t{1} << bits) - 1;
  const std::int64_t code = std::clamp<std::int64_t>((fraction + (std::int64_t{1} << lost) / 2) >> lost, 0, most);
  double volts = static_cast<double>(code) / static_cast<double>(most + 1) * rail * build.gain + build.offset;
  if (!channels_[i].product) volts = redriven(volts, rail);
  if (build.noise > 0) {
    volts += build.noise * normal().from(noise_.bits(static_cast<std::uint64_t>(now)), static_cast<int>(i));
  }
  if (now < glitch_until_) volts += build.glitch + (tenth_start_ ? build.tenth_start_glitch : 0);
  return std::clamp(volts, build.rail_distance, std::max(build.rail_distance, rail - build.rail_distance));
}

}  // namespace drivers::emulated
