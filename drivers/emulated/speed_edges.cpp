// How the speed line plays: from edge to edge while it is clean, from crossing to crossing while it is not.
#include <algorithm>
#include <cmath>

#include "drivers/emulated/speed_line.hpp"

namespace drivers::emulated {

void SpeedLine::advance(std::int64_t to) {
  if (detailed()) {
    play_detail(to);
  } else {
    play_clean(to);
  }
}

void SpeedLine::play_clean(std::int64_t to) {
  const std::uint64_t end = first_tick_at(to);
  for (;;) {
    const std::uint64_t before = coming_.empty() ? end : std::min(end, first_tick_at(coming_.front().at));
    if (const auto edge = generator_ ? generator_->next_before(before) : std::nullopt) {
      drain(time_of(edge->tick), !edge->rising);
    } else if (!coming_.empty() && coming_.front().at < to) {
      const StageChange change = coming_.front();
      coming_.pop_front();
      stage(change.at, change.on);
    } else {
      break;
    }
  }
}

void SpeedLine::play_detail(std::int64_t to) {
  const std::uint64_t end = first_tick_at(to);
  auto edge = generator_ ? generator_->next_before(end) : std::nullopt;
  for (;;) {
    std::int64_t next = to;
    if (edge) next = std::min(next, time_of(edge->tick));
    if (noisy_) next = std::min(next, next_noise_);
    if (!coming_.empty()) next = std::min(next, coming_.front().at);
    next = std::max(next, at_);
    if (pass(next) < next) continue;  // the module has seen something on the way
    if (!coming_.empty() && coming_.front().at <= next && next < to) {
      const StageChange change = coming_.front();
      coming_.pop_front();
      stage(next, change.on);
    } else if (noisy_ && next_noise_ <= next && next < to) {
      turn_noise(next);
    } else if (edge && time_of(edge->tick) <= next) {
      drain(next, !edge->rising);
      edge = generator_->next_before(end);
    } else {
      break;
    }
  }
}

void SpeedLine::drain(std::int64_t at, bool on) {
  drain_on_ = on;
  settle(at, true);
  tell_bus(at);
}

void SpeedLine::stage(std::int64_t at, bool on) {
  stage_on_ = on;
  settle(at, true);
  tell_bus(at);
}

/// The levels to which the line goes have changed. What is clean is there after its delay, if there is to be one.
void SpeedLine::settle(std::int64_t at, bool delayed) {
  const auto& levels = levels_[state()];
  for (const Pin pin : {kIn, kModule, kOut}) {
    Comparator& comparator = comparators_[pin];
    const bool in_detail = detailed() && follows_drain(pin);
    if (in_detail && slow_) continue;
    volts_[pin] = levels[pin].volts;
    if (in_detail) continue;  // pass() decides, with the noise
    if (comparator.high ? volts_[pin] < comparator.lower : volts_[pin] > comparator.upper) {
      const bool rising = !comparator.high;
      toggle(pin, at + (delayed ? delays_[pin][rising ? 1 : 0] : 0), rising);
    }
  }
  show(at);
}

/// Follows the line up to an instant, or to an earlier one at which the module's own stage has been told something.
std::int64_t SpeedLine::pass(std::int64_t to) {
  for (const Pin pin : {kModule, kIn, kOut}) {
    if (!follows_drain(pin)) continue;
    const auto seen = pass_pin(pin, to);
    if (!seen) continue;
    if (pin == kModule && regenerates_) {
      to = *seen;
    } else if (*seen == at_) {
      pass_pin(pin, to);  // noise has thrown it over, and the edge may still bring it back
    }
  }
  const auto& levels = levels_[state()];
  const double factor = slow_ ? std::exp(-static_cast<double>(to - at_) / slow_tau_) : 0;
  for (const Pin pin : {kIn, kModule, kOut}) {
    if (follows_drain(pin)) volts_[pin] = levels[pin].volts + (volts_[pin] - levels[pin].volts) * factor;
  }
  at_ = to;
  return to;
}

/// The first change of a comparator from at_ on and before `to`, if there is one: the pin's voltage moves one way only
/// in between.
std::optional<std::int64_t> SpeedLine::pass_pin(Pin pin, std::int64_t to) {
  const Comparator& comparator = comparators_[pin];
  const double threshold = (comparator.high ? comparator.lower : comparator.upper) - noise_now_;
  const double target = levels_[state()][pin].volts;
  const auto beyond = [&](double volts) { return comparator.high ? volts < threshold : volts > threshold; };
  std::int64_t at = at_;
  if (!beyond(volts_[pin])) {
    if (!slow_ || !beyond(target)) return std::nullopt;
    at += std::llround(slow_tau_ * std::log((volts_[pin] - target) / (threshold - target)));
    if (at >= to) return std::nullopt;
  }
  toggle(pin, at, !comparator.high);
  return at;
}

void SpeedLine::turn_noise(std::int64_t at) {
  noise_now_ = -noise_now_;
  next_noise_ = at + noise_half_;
  show(at);
}

void SpeedLine::toggle(Pin pin, std::int64_t at, bool rising) {
  comparators_[pin].high = rising;
  const auto nearest = static_cast<std::uint64_t>((at + tick_ns_ / 2) / tick_ns_);
  const std::uint64_t tick = std::max(nearest, last_tick_[pin] + 1);
  last_tick_[pin] = tick;
  if (pin == kModule) {
    module_sees(at, tick, rising);
  } else {
    edges_[pin].push_back({tick, rising});
  }
}

void SpeedLine::module_sees(std::int64_t at, std::uint64_t tick, bool rising) {
  if (regenerates_) {
    const double jitter = static_cast<double>(build_.jitter_ns) * jitter_.symmetric(tick);
    const std::int64_t due = at + build_.delay_ns + std::llround(jitter);
    coming_.push_back({coming_.empty() ? due : std::max(due, coming_.back().at), !rising});
  }
  if (rising) return;
  rig::FixedAngle angle = angle_offset_;
  if (detailed()) {
    angle += wheel_.angle(++counted_);
  } else if (generator_) {
    angle += generator_->angle_at(tick);
  }
  falls_.push_back({tick, angle});
}

// A module knows where its crank is by counting. On a clean line that is where the crank is; once noise has made it
// count twice, or a level has kept an edge from it, its angle is off and stays off.
void SpeedLine::begin_counting(std::int64_t at) {
  counted_ = generator_ ? wheel_.last_at(generator_->angle_at(first_tick_at(at))) : 0;
}

void SpeedLine::end_counting(std::int64_t at) {
  if (!generator_) return;
  const std::int64_t passed = wheel_.last_at(generator_->angle_at(first_tick_at(at)));
  angle_offset_ += wheel_.angle(counted_) - wheel_.angle(passed);
}

}  // namespace drivers::emulated
