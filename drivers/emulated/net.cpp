#include "drivers/emulated/net.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace drivers::emulated {
namespace {

constexpr double kUnseen = 2e-5;  ///< a turning point smaller than this is lost in any converter's code
constexpr Seen kNothingSeen{std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity(), 0};

/// Two equal time constants in a row would need a term t exp(-t / tau); a thousandth apart is the same signal.
bool alike(double tau, double other) { return tau > 0 && other > 0 && std::abs(tau / other - 1) < 1e-3; }

void cover(Seen& seen, double value) {
  seen.low = std::min(seen.low, value);
  seen.high = std::max(seen.high, value);
}

}  // namespace

Net::Net(std::array<double, kLineDrivers> taus) {
  for (std::size_t d = 0; d < kLineDrivers; ++d) decays_[d] = Decay{taus[d]};
  drives_[kOne].level = 1;
}

std::size_t Net::add_sense(double tau, Mixture mixture) {
  for (bool apart = false; !apart;) {
    apart = true;
    for (const Decay& decay : decays_) {
      if (alike(tau, decay.tau())) tau *= 1.002, apart = false;
    }
  }
  Sense sense;
  sense.decay = Decay{tau};
  sense.mixture = mixture;
  sense.seen = kNothingSeen;
  senses_.push_back(sense);
  settle();
  return senses_.size() - 1;
}

void Net::set_moving(std::size_t count) {
  for (std::size_t d = count; d < moving_; ++d) {
    drives_[d] = {};
    for (Sense& sense : senses_) sense.amplitude[term(d)] = 0;
  }
  moving_ = count;
}

void Net::mirror(Driver which, const Drive& drive, double tau) {
  for (bool apart = false; !apart;) {
    apart = true;
    for (const Sense& sense : senses_) {
      if (alike(tau, sense.decay.tau())) tau *= 1.002, apart = false;
    }
  }
  if (this->tau(which) != tau) set_tau(which, tau);
  drives_[which] = drive;
}

void Net::advance(std::int64_t to) {
  if (!guards_.empty()) {
    while (const auto passing = quiet_ ? std::nullopt : first_passing(to)) {
      stop_at_samples(*passing);
      guardian_->guard_passed();
    }
  }
  stop_at_samples(to);
}

void Net::stop_at_samples(std::int64_t to) {
  for (;;) {  // stop at every sample on the way
    Tap* first = nullptr;
    for (Tap& tap : taps_) {
      if (tap.next < std::min(to, tap.end) && (!first || tap.next < first->next)) first = &tap;
    }
    if (!first) break;
    move(std::max(first->next, now_));
    first->readings.push_back(senses_[first->sense].reading);
    first->next += first->period;
  }
  move(to);
}

double Net::now_at_pin(const Mixture& mixture) const {
  double value = 0;
  for (std::size_t d = 0; d < moving_; ++d) value += mixture[d] * drives_[d].now();
  for (std::size_t d = kMovingDrivers; d < kDrivers; ++d) value += mixture[d] * drives_[d].level;
  return value;
}

double Net::above(const Guard& guard) const { return now_at_pin(guard.weights) - guard.level; }

/// When a guard is first passed within (now, to]. Each span is looked at in parts, as the sum of a few exponentials may
/// turn within it; what rises above and comes back within one part is over before it has done anything.
std::optional<std::int64_t> Net::first_passing(std::int64_t to) {
  constexpr int kParts = 8;
  const std::int64_t from = now_;
  std::optional<std::int64_t> first;
  for (const Guard& guard : guards_) {
    const auto passed = [&](std::int64_t at) { return at_pin(guard.weights, at) > guard.level; };
    std::int64_t below = from;
    for (int part = 1; part <= kParts; ++part) {
      std::int64_t beyond = from + (to - from) * part / kParts;
      if (beyond <= below || (first && below >= *first)) continue;
      if (!passed(beyond)) {
        below = beyond;
        continue;
      }
      while (beyond - below > 1) {
        const std::int64_t middle = below + (beyond - below) / 2;
        (passed(middle) ? beyond : below) = middle;
      }
      if (!first || beyond < *first) first = beyond;
      break;
    }
  }
  return first;
}

void Net::delay_sense(std::size_t which, std::int64_t by, std::int64_t grid) {
  Sense& sense = senses_[which];
  sense.delay = by;
  sense.grid = grid;
  sense.next_cut = now_;
  if (by > 0) sense.seen = {sense.reading, sense.reading, sense.reading * static_cast<double>(by)};
}

/// The first instant after now() at which a stretch ends for a delayed sense. Those that a net at rest has been carried
/// over are past, and left nothing to tell.
std::int64_t Net::cut(Sense& sense) const {
  if (sense.next_cut <= now_) sense.next_cut = ((now_ + sense.delay) / sense.grid + 1) * sense.grid - sense.delay;
  return sense.next_cut;
}

void Net::end_stretch(Sense& sense) {
  sense.done = sense.seen;
  sense.seen = kNothingSeen;
  sense.next_cut += sense.grid;
}

Net::Factors Net::factors_over(Sense& sense, std::int64_t span) {
  Factors factors;
  for (std::size_t d = 0; d < moving_; ++d) {
    factors[term(d)] = drives_[d].amplitude == 0 ? 0 : decays_[d].over(span);
  }
  factors[kOwn] = sense.amplitude[kOwn] == 0 ? 0 : sense.decay.over(span);
  return factors;
}

void Net::move(std::int64_t to) {
  const std::int64_t span_ns = to - now_;
  if (span_ns <= 0) return;
  touched_ = true;
  if (quiet_) {
    for (Sense& sense : senses_) {
      const auto rest = [&sense](std::int64_t length) {
        cover(sense.seen, sense.reading);
        sense.seen.area += sense.reading * static_cast<double>(length);
      };
      std::int64_t from = now_;
      while (sense.delay > 0 && cut(sense) <= to) {
        rest(sense.next_cut - from);
        from = sense.next_cut;
        end_stretch(sense);
      }
      if (to > from) rest(to - from);
    }
    now_ = to;
    return;
  }
  ++version_;
  Factors factors;
  for (std::size_t d = 0; d < moving_; ++d) {
    factors[term(d)] = drives_[d].amplitude == 0 ? 0 : decays_[d].over(span_ns);
  }
  for (Sense& sense : senses_) {
    std::int64_t from = now_;
    while (sense.delay > 0 && cut(sense) <= to) {
      see(sense, static_cast<double>(sense.next_cut - from), factors_over(sense, sense.next_cut - from));
      from = sense.next_cut;
      end_stretch(sense);
    }
    if (from == now_) {
      factors[kOwn] = sense.amplitude[kOwn] == 0 ? 0 : sense.decay.over(span_ns);
      see(sense, static_cast<double>(span_ns), factors);
    } else {
      see(sense, static_cast<double>(to - from), factors_over(sense, to - from));
    }
    drop_nothings(sense, factors);
  }
  now_ = to;
  quiet_ = true;
  for (std::size_t d = 0; d < moving_; ++d) {
    drives_[d].advance(span_ns, factors[term(d)]);
    quiet_ = quiet_ && !drives_[d].moving();
  }
  for (const Sense& sense : senses_) quiet_ = quiet_ && sense.amplitude[kOwn] == 0;
}

/// What a drive drops for smallness its senses drop too, so that all come to rest together.
void Net::drop_nothings(Sense& sense, const Factors& factors) const {
  for (std::size_t d = 0; d < moving_; ++d) {
    if (or_nothing(drives_[d].amplitude * factors[term(d)]) == 0) sense.amplitude[term(d)] = 0;
  }
  sense.amplitude[kOwn] = or_nothing(sense.amplitude[kOwn]);
}

/// Adds a span to what a sense has seen and moves its reading on.
void Net::see(Sense& sense, double span, const Factors& factors) {
  cover(sense.seen, sense.reading);
  double area = sense.level * span + sense.slope * span * span / 2;
  bool bent = false;
  for (std::size_t m = kOwn; m <= moving_; ++m) {
    if (sense.amplitude[m] == 0) continue;
    area += sense.amplitude[m] * tau_of(sense, m) * (1 - factors[m]);
    bent = true;
  }
  if (bent) cover_turning_points(sense, span, factors);
  sense.level += sense.slope * span;
  sense.reading = sense.level;
  for (std::size_t m = kOwn; m <= moving_; ++m) {
    sense.amplitude[m] *= factors[m];
    sense.reading += sense.amplitude[m];
  }
  sense.seen.area += area;
  cover(sense.seen, sense.reading);
}

/// A sum of exponentials turns at most as often as the signs of its derivative's terms change in the order of their
/// time constants; mostly that is once, and then the derivative's signs at the two ends tell.
void Net::cover_turning_points(Sense& sense, double span, const Factors& factors) {
  std::array<double, kMovingDrivers + 1> rate;  // of each exponential at the span's start
  double first = sense.slope, last = sense.slope;
  double reach = 0;
  int terms = sense.slope != 0 ? 1 : 0;
  for (std::size_t m = kOwn; m <= moving_; ++m) {
    if (sense.amplitude[m] == 0) continue;
    rate[m] = -sense.amplitude[m] / tau_of(sense, m);
    first += rate[m];
    last += rate[m] * factors[m];
    reach += std::abs(sense.amplitude[m]);
    ++terms;
  }
  if (reach < kUnseen || terms < 2 || (terms == 2 && (first < 0) == (last < 0))) return;
  const auto at = [&](double t, bool derivative) {
    double sum = derivative ? sense.slope : sense.level + sense.slope * t;
    for (std::size_t m = kOwn; m <= moving_; ++m) {
      if (sense.amplitude[m] != 0) sum += (derivative ? rate[m] : sense.amplitude[m]) * std::exp(-t / tau_of(sense, m));
    }
    return sum;
  };
  // Three terms or more may turn twice: look into each quarter of the span.
  const int parts = terms == 2 ? 1 : 4;
  double from = 0, slope_from = first;
  for (int part = 1; part <= parts; ++part) {
    double to = span * part / parts;
    const double slope_to = part == parts ? last : at(to, true);
    const double next_from = to;
    if ((slope_from < 0) != (slope_to < 0)) {
      double low = from;
      for (int step = 0; step < 12; ++step) {
        const double middle = (low + to) / 2;
        ((at(middle, true) < 0) == (slope_from < 0) ? low : to) = middle;
      }
      cover(sense.seen, at(low, false));
    }
    from = next_from, slope_from = slope_to;
  }
}

void Net::changed() {
  ++version_;
  quiet_ = true;
  for (std::size_t d = 0; d < moving_; ++d) quiet_ = quiet_ && !drives_[d].moving();
  for (Sense& sense : senses_) {
    const double tau = sense.decay.tau();
    sense.level = sense.slope = 0;
    double response = 0;
    for (std::size_t d = 0; d < moving_; ++d) {
      const Drive& drive = drives_[d];
      sense.level += sense.mixture[d] * (drive.level - drive.slope * tau);
      sense.slope += sense.mixture[d] * drive.slope;
      double& amplitude = sense.amplitude[term(d)];
      amplitude =
          drive.amplitude == 0 ? 0 : or_nothing(sense.mixture[d] * drive.amplitude / (1 - tau / decays_[d].tau()));
      response += amplitude;
    }
    for (std::size_t d = kMovingDrivers; d < kDrivers; ++d) sense.level += sense.mixture[d] * drives_[d].level;
    sense.amplitude[kOwn] = tau > 0 ? or_nothing(sense.reading - sense.level - response) : 0;
    sense.reading = sense.level + response + sense.amplitude[kOwn];
    quiet_ = quiet_ && sense.amplitude[kOwn] == 0;
  }
}

void Net::settle() {
  for (Sense& sense : senses_) {
    sense.reading = now_at_pin(sense.mixture);
    if (sense.delay > 0) delay_sense(static_cast<std::size_t>(&sense - senses_.data()), sense.delay, sense.grid);
  }
  changed();
}

double Net::at_pin(const Mixture& mixture, std::int64_t at) {
  const std::int64_t span = at - now_;
  double value = 0;
  for (std::size_t d = 0; d < moving_; ++d) {
    const Drive& drive = drives_[d];
    value += mixture[d] *
             (drive.moving() ? drive.after(span, drive.amplitude == 0 ? 0 : decays_[d].over(span)) : drive.level);
  }
  for (std::size_t d = kMovingDrivers; d < kDrivers; ++d) value += mixture[d] * drives_[d].level;
  return value;
}

void Net::begin_stretch(std::int64_t at) {
  if (quiet_) now_ = at;
  if (!touched_) return;
  touched_ = false;
  for (Sense& sense : senses_) {
    if (sense.delay == 0) {
      sense.seen = kNothingSeen;
    } else if (!sense.at_rest()) {
      touched_ = true;  // its next stretch begins with something that moved
    }
  }
}

}  // namespace drivers::emulated
