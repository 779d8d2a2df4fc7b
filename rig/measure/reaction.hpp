#pragma once

#include <optional>
#include <span>

#include "rig/measure/waveform.hpp"

/// How long something took, from readings: when a signal came to where it belongs and stayed, and for how long at most
/// it was where it must not be. Times are seconds from the waveform's first sample.
namespace rig {

/// Limits a signal is held to, sample by sample: as many as the signal has samples, or one pair for all of them.
struct MovingLimits {
  std::span<const double> low, high;
};

/// The instant from which on a signal stays within its limits. It lies between the last sample outside and the first of
/// those inside: `at` is the middle, `half_width` half the gap (all instants within are equally likely).
struct Arrival {
  double at = 0, half_width = 0;
};

/// Nothing when the last sample is outside. A signal that is inside from `from` on has arrived at `from` exactly.
/// Samples that are not finite count as outside. REQUIRES: limits fit the signal, period > 0.
std::optional<Arrival> arrival(const Waveform& signal, const MovingLimits& limits, double from);

/// How long the signal is outside in one go, at most, from `from` on: reckoned from the last sample inside before to
/// the first inside after, so never too short; 0 when it never is.
double longest_outside(const Waveform& signal, const MovingLimits& limits, double from);

}  // namespace rig
