#pragma once

#include <vector>

#include "rig/compile/readings.hpp"
#include "rig/measure/waveform.hpp"

namespace rig {

/// A pressure line's fine samples in one window, calibrated, in the port's unit.
struct FineSignal {
  std::vector<double> values;
  double period = 0;  ///< s
  double start = 0;   ///< s, of the first sample, from the segment's start; the port's known delay is taken off
  Waveform waveform() const { return {values, period}; }
};

/// Empty when nothing was recorded, or when the track was recorded in more than one piece.
FineSignal fine_signal(const Readings& readings, TrackId track);

/// What two senses may lie apart in time, as a standard uncertainty in seconds, once their known delays are taken off:
/// either one's skew_error, half an aperture, and what their filters do differently to a fast edge and to a slow one
/// (up to the slower filter's time constant), all taken as rectangular; a scanned sense's turn comes anywhere within
/// one round of conversions.
double standard_time_apart(const Port& a, const Port& b);

}  // namespace rig
