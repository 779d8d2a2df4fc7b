#pragma once

#include <array>
#include <cmath>
#include <cstdint>

/// Voltages that move in closed form between events: a + b t + c exp(-t / tau). Times are nanoseconds.
namespace drivers::emulated {

/// exp(-t / tau), remembered for the few spans of time that keep coming back (a sample period, its parts).
class Decay {
 public:
  explicit Decay(double tau_ns = 0) : tau_{tau_ns} { spans_.fill(-1); }
  double tau() const { return tau_; }
  double over(std::int64_t span) {
    if (tau_ <= 0) return 0;
    const std::size_t slot = static_cast<std::size_t>((span ^ (span >> 7) ^ (span >> 15)) & (kSlots - 1));
    if (spans_[slot] != span) {
      spans_[slot] = span;
      factors_[slot] = std::exp(-static_cast<double>(span) / tau_);
    }
    return factors_[slot];
  }

 private:
  static constexpr std::int64_t kSlots = 16;
  double tau_;
  std::array<std::int64_t, kSlots> spans_;
  std::array<double, kSlots> factors_{};
};

/// Less than this of an exponential is left out: two microvolts, a few hundredths of any converter's code.
constexpr double kNothing = 2e-6;
constexpr double or_nothing(double amplitude) { return amplitude > -kNothing && amplitude < kNothing ? 0 : amplitude; }

/// A voltage that follows its target (a level or a ramp) with one time constant. Its time counts from `now`, which its
/// owner moves.
struct Drive {
  double level = 0;      ///< a
  double slope = 0;      ///< b, per nanosecond
  double amplitude = 0;  ///< c

  double now() const { return level + amplitude; }
  bool moving() const { return slope != 0 || amplitude != 0; }
  /// The value after a span, without going there.
  double after(std::int64_t span, double factor) const {
    return level + slope * static_cast<double>(span) + amplitude * factor;
  }
  void advance(std::int64_t span, double factor) {
    level += slope * static_cast<double>(span);
    amplitude = or_nothing(amplitude * factor);
  }
  /// From now on follow to + rise * t.
  void follow(double to, double rise, double tau) {
    const double from = now();
    level = to - rise * tau;
    slope = rise;
    amplitude = tau > 0 ? or_nothing(from - level) : 0;
  }
};

}  // namespace drivers::emulated
