#include "drivers/emulated/module.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::max();
constexpr double kRailShareNeeded = 0.85;        // of the rail's lowest
constexpr double kPresetTimeConstants = 8;       // of the output filter, standing at the input before the relay pulls
constexpr std::int64_t kRelayPull = 1'500'000;   // from the coil to the first contact
constexpr std::int64_t kRelayOverlap = 500'000;  // make before break
constexpr std::int64_t kHandover = 7'000'000;    // from working or bypass released until the shift counts
constexpr std::int64_t kGlitch = 3'000'000;
constexpr std::int64_t kSpike = 5'000'000;
constexpr std::int64_t kGapEvery = 700'000'000;
constexpr double kImplausible = 5;  // K beyond the sensor's range: an open or shorted thermistor is far further off
constexpr double kForEver = 1e9;    // intervals

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
      seed_{seed},
      noise_{seed, build_.serial, 2},
      speed_{product.speed.wheel, static_cast<std::uint32_t>(1'000'000'000 / tick_ns),
             build_.keeps_speed ? kForEver : product.build.speed_timeout_intervals},
      failsafe_{build_.failsafe},
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
    coldest_ = std::llround((product.temperature->lowest.value() - kImplausible) * kTemperatureUnits);
    warmest_ = std::llround((product.temperature->highest.value() + kImplausible) * kTemperatureUnits);
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
  restless_ = std::any_of(build_.channels.begin(), build_.channels.end(), [](const ChannelBuild& c) {
    return c.noise > 0 || c.limit_cycle != 0 || c.volts_per_kelvin != 0 || c.volts_per_volt != 0;
  });
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
  changes.outputs |= sample(pins);
  failsafe_.take(now, faulty_);
  work_relay(now, pins, changes);
  const std::int64_t speed = reckoned_speed(now);
  changes.outputs |= speed != engine_speed_ || !whole(now - build_.sample_ns) || pins.moved || restless_;
  engine_speed_ = speed;
  if (!changes.outputs) return changes;
  for (std::size_t i = 0; i < channels_.size(); ++i) channels_[i].volts = output_volts(i, reported(i, now), pins, now);
  return changes;
}

void Module::hang(std::int64_t now) {
  if (state_ != State::working) return;
  state_ = State::hanging;
  started_ = now;
}

/// Battery and every rail are needed to work; the battery alone is enough to draw current.
void Module::power(std::int64_t now, const Pins& pins, Changes& changes) {
  const bool was_supplied = supplied_;
  supplied_ = pins.battery >= (supplied_ ? build_.failsafe.brown_out : build_.failsafe.works_again);
  if (was_supplied && !supplied_) failsafe_.forget();
  const double before = current_;
  draw(now);
  changes.current = current_ != before;

  bool powered = supplied_;
  for (std::size_t i = 0; i < product_.rails.size(); ++i) {
    powered = powered && pins.rails[i] >= kRailShareNeeded * product_.rails[i].lowest.value();
  }
  if (!powered && state_ != State::off) {
    stop(State::off, now, changes);
  } else if (powered && state_ == State::off) {
    state_ = State::booting;
    started_ = now;
  } else if (state_ == State::hanging && now - started_ >= build_.failsafe.watchdog_ns) {
    stop(State::booting, now, changes);
  } else if (state_ == State::booting && now - started_ >= build_.boot_ns) {
    start_working(now, pins);
  }
}

void Module::draw(std::int64_t now) {
  if (!supplied_) {
    current_ = 0;
  } else if (current_ == 0) {
    inrush_until_ = now + build_.inrush_ns;
    current_ = build_.inrush_current;
  } else if (now >= inrush_until_) {
    current_ = build_.idle_current;
  }
}

/// The program no longer runs: whatever it was in the middle of is forgotten, and nothing holds the relay.
void Module::stop(State into, std::int64_t now, Changes& changes) {
  state_ = into;
  started_ = now;
  drop_out(now, changes);
  speed_.forget();
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
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    Channel& channel = channels_[i];
    channel.fraction = channel.valid = convert(pins.lines[i], pins.line_rails[i]);
    channel.played = channel.to_pressure.at(channel.fraction);
  }
  failsafe_.restart();
  engine_speed_ = 0;
  past_speeds_.clear();
  settled_ = false;
  shifts_from_ = kNever;
  ready_ = now + std::llround(kPresetTimeConstants * static_cast<double>(product_.build.output_filter.count()));
}

/// The program's wish. Before its outputs stand at their inputs it does not pull.
void Module::work_relay(std::int64_t now, const Pins& pins, Changes& changes) {
  const bool pull = !pins.bypass_requested && !failsafe_.fallen_back();
  if (now >= ready_ && coil_ != pull) pull ? energise(true, now) : drop_out(now, changes);
  const bool gap = now % kGapEvery < build_.output_gap_ns;
  changes.contacts |= gap != gap_;
  gap_ = gap;
}

void Module::energise(bool on, std::int64_t now) {
  if (coil_ == on) return;
  coil_ = on;
  shifts_from_ = on ? now + kHandover : kNever;
  contact_due_ = (on ? now : std::max(now, spike_until_)) + (contact_ == Contact::both ? kRelayOverlap : kRelayPull);
}

void Module::drop_out(std::int64_t now, Changes& changes) {
  if (coil_ && build_.relay_spike != 0) {
    spike_until_ = now + kSpike;
    for (Channel& channel : channels_) channel.volts += build_.relay_spike;
    changes.outputs = true;
  }
  energise(false, now);
}

/// All of the shift there is to be counts at that time, neither more nor less from then on.
bool Module::whole(std::int64_t now) const {
  return shifts_from_ != kNever && now > shifts_from_ + build_.failsafe.ramp_in_ns;
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
  bool moved = sample_pressures(pins);
  if (to_temperature_) {
    const std::int64_t fraction = convert(pins.lines.back(), pins.line_rails.back());
    if (fraction != temperature_fraction_) {
      temperature_fraction_ = fraction;
      temperature_ = to_temperature_->at(fraction);
      moved = true;
    }
  }
  faulty_ = faulty();
  settled_ = !moved;
  return moved;
}

bool Module::sample_pressures(const Pins& pins) {
  bool moved = false;
  const std::size_t last = product_.pressures.size() - 1;
  for (std::size_t i = 0; i < channels_.size(); ++i) {
    std::size_t line = i;
    if (build_.channels_swapped && (i == 0 || i == last)) line = last - i;
    Channel& channel = channels_[i];
    const std::int64_t raw = convert(pins.lines[line], pins.line_rails[line]);
    const bool low = raw <= channel.low_rail, high = raw >= channel.high_rail;
    if ((low && build_.channels[i].hides_low) || (high && build_.channels[i].hides_high)) continue;
    const std::int64_t step = ((raw - channel.fraction) * filter_share_) >> 16;
    channel.fraction += step;
    if (!low && !high) channel.valid = channel.fraction;
    moved |= step != 0;
  }
  return moved;
}

/// Whether something at its inputs cannot be so. The pressure that indexes another's shift lies behind it in the
/// engine, with the throttle in between: it may lie far below that one, never far above.
bool Module::faulty() const {
  if (to_temperature_ && (temperature_ < coldest_ || temperature_ > warmest_)) return true;
  for (const Channel& channel : channels_) {
    if (!channel.product) continue;
    if (at_rail(channel)) {
      if (!build_.failsafe.one_sided) return true;
      continue;
    }
    const Channel& behind = channels_[channel.index_pressure];
    if (!channel.shift || at_rail(behind)) continue;
    const auto above = behind.to_pressure.at(behind.fraction) - channel.to_pressure.at(channel.fraction);
    if (static_cast<double>(above) > build_.failsafe.disagreement_kpa * kPressureUnits) return true;
  }
  return false;
}

std::int64_t Module::reckoned_speed(std::int64_t now) {
  const std::int64_t speed = speed_.at(static_cast<std::uint64_t>(now / tick_ns_)) * (build_.counts_rising ? 2 : 1);
  if (build_.speed_age_ns == 0) return speed;
  past_speeds_.push_back(speed);
  while (static_cast<std::int64_t>(past_speeds_.size() - 1) * build_.sample_ns > build_.speed_age_ns) {
    past_speeds_.pop_front();
  }
  return past_speeds_.front();
}

}  // namespace drivers::emulated
