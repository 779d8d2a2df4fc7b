#include "drivers/emulated/net.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace drivers::emulated {
namespace {

constexpr double kUnseen = 2e-5;  ///< a turning point smaller than this is lost in any converter's code
constexpr Seen kNothingSeen{std::numeric_limits<double>::infinity(), -std::numeric_limits<double>::infinity(), 0};

void cover(Seen& seen, double value) {
  seen.low = std::min(seen.low, value);
  seen.high = std::max(seen.high, value);
}

}  // namespace

Net::Net(std::array<double, 3> taus) : decays_{Decay{taus[0]}, Decay{taus[1]}, Decay{taus[2]}} {}

std::size_t Net::add_sense(double tau, Mixture mixture) {
  // Two equal time constants in a row would need a term t exp(-t / tau); a thousandth apart is the same signal.
  for (bool apart = false; !apart;) {
    apart = true;
    for (const Decay& decay : decays_) {
      if (tau > 0 && decay.tau() > 0 && std::abs(tau / decay.tau() - 1) < 1e-3) tau *= 1.002, apart = false;
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

void Net::advance(std::int64_t to) {
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

void Net::move(std::int64_t to) {
  const std::int64_t span_ns = to - now_;
  if (span_ns <= 0) return;
  now_ = to;
  touched_ = true;
  const double span = static_cast<double>(span_ns);
  if (quiet_) {
    for (Sense& sense : senses_) {
      cover(sense.seen, sense.reading);
      sense.seen.area += sense.reading * span;
    }
    return;
  }
  ++version_;
  Factors factors{};
  for (int d = 0; d < 3; ++d) factors[d] = drives_[d].amplitude == 0 ? 0 : decays_[d].over(span_ns);
  for (Sense& sense : senses_) {
    factors[3] = sense.amplitude[3] == 0 ? 0 : sense.decay.over(span_ns);
    see(sense, span, factors);
  }
  for (int d = 0; d < 3; ++d) drives_[d].advance(span_ns, factors[d]);
  quiet_ = std::none_of(drives_.begin(), drives_.end(), [](const Drive& drive) { return drive.moving(); }) &&
           std::all_of(senses_.begin(), senses_.end(), [](const Sense& s) { return s.amplitude[3] == 0; });
}

/// Adds a span to what a sense has seen and moves its reading on.
void Net::see(Sense& sense, double span, const Factors& factors) {
  cover(sense.seen, sense.reading);
  double area = sense.level * span + sense.slope * span * span / 2;
  bool bent = false;
  for (int m = 0; m < 4; ++m) {
    if (sense.amplitude[m] == 0) continue;
    const double tau = m < 3 ? decays_[m].tau() : sense.decay.tau();
    area += sense.amplitude[m] * tau * (1 - factors[m]);
    bent = true;
  }
  if (bent) cover_turning_points(sense, span, factors);
  sense.level += sense.slope * span;
  sense.reading = sense.level;
  for (int m = 0; m < 4; ++m) {
    sense.amplitude[m] *= factors[m];
    sense.reading += sense.amplitude[m];
  }
  // What a drive drops for smallness its senses drop too, so that all come to rest together.
  for (int d = 0; d < 3; ++d) {
    if (or_nothing(drives_[d].amplitude * factors[d]) == 0) sense.amplitude[d] = 0;
  }
  sense.amplitude[3] = or_nothing(sense.amplitude[3]);
  sense.seen.area += area;
  cover(sense.seen, sense.reading);
}

/// A sum of exponentials turns at most as often as the signs of its derivative's terms change in the order of their
/// time constants; mostly that is once, and then the derivative's signs at the two ends tell.
void Net::cover_turning_points(Sense& sense, double span, const Factors& factors) {
  std::array<double, 4> rate{};  // of each exponential at the span's start
  double first = sense.slope, last = sense.slope;
  double reach = 0;
  int terms = sense.slope != 0 ? 1 : 0;
  for (int m = 0; m < 4; ++m) {
    if (sense.amplitude[m] == 0) continue;
    rate[m] = -sense.amplitude[m] / (m < 3 ? decays_[m].tau() : sense.decay.tau());
    first += rate[m];
    last += rate[m] * factors[m];
    reach += std::abs(sense.amplitude[m]);
    ++terms;
  }
  if (reach < kUnseen || terms < 2 || (terms == 2 && (first < 0) == (last < 0))) return;
  const auto tau_of = [&](int m) { return m < 3 ? decays_[m].tau() : sense.decay.tau(); };
  const auto at = [&](double t, bool derivative) {
    double sum = derivative ? sense.slope : sense.level + sense.slope * t;
    for (int m = 0; m < 4; ++m) {
      if (sense.amplitude[m] != 0) sum += (derivative ? rate[m] : sense.amplitude[m]) * std::exp(-t / tau_of(m));
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
  for (const Drive& drive : drives_) quiet_ = quiet_ && !drive.moving();
  for (Sense& sense : senses_) {
    const double tau = sense.decay.tau();
    sense.level = sense.slope = 0;
    double response = 0;
    for (int d = 0; d < 3; ++d) {
      const Drive& drive = drives_[d];
      sense.level += sense.mixture[d] * (drive.level - drive.slope * tau);
      sense.slope += sense.mixture[d] * drive.slope;
      sense.amplitude[d] =
          drive.amplitude == 0 ? 0 : or_nothing(sense.mixture[d] * drive.amplitude / (1 - tau / decays_[d].tau()));
      response += sense.amplitude[d];
    }
    sense.amplitude[3] = tau > 0 ? or_nothing(sense.reading - sense.level - response) : 0;
    sense.reading = sense.level + response + sense.amplitude[3];
    quiet_ = quiet_ && sense.amplitude[3] == 0;
  }
}

void Net::settle() {
  for (Sense& sense : senses_) {
    sense.reading = 0;
    for (int d = 0; d < 3; ++d) sense.reading += sense.mixture[d] * drives_[d].now();
  }
  changed();
}

double Net::at_pin(const Mixture& mixture, std::int64_t at) {
  const std::int64_t span = at - now_;
  double sum = 0;
  for (int d = 0; d < 3; ++d) {
    if (mixture[d] == 0) continue;
    const Drive& drive = drives_[d];
    const double value =
        drive.moving() ? drive.after(span, drive.amplitude == 0 ? 0 : decays_[d].over(span)) : drive.level;
    sum += mixture[d] * value;
  }
  return sum;
}

void Net::begin_stretch(std::int64_t at) {
  if (quiet_) now_ = at;
  if (!touched_) return;
  touched_ = false;
  for (Sense& sense : senses_) sense.seen = kNothingSeen;
}

}  // namespace drivers::emulated
