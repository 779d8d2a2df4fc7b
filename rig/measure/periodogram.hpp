#pragma once

#include <optional>
#include <span>

/// Whether something periodic hides in noise.
namespace rig {

/// The strongest line of a spectrum.
struct SpectralLine {
  double amplitude = 0;  ///< of the sine, in the signal's unit
  double frequency = 0;  ///< Hz
  double threshold =
      0;             ///< the amplitude that noise alone exceeds anywhere in the range with the probability asked for
  double doubt = 0;  ///< of the amplitude, expanded, k = 2
  bool above_noise() const { return amplitude > threshold; }
};

/// From `lowest` to `highest` Hz, of an evenly sampled signal whose mean and trend are taken off (do so first).
///
/// The periodogram of N values is |X(f)|^2. Of white noise of variance s^2 it is exponentially distributed about N s^2
/// at each frequency (Scargle 1982), and exceeds N s^2 z somewhere within a band of B Hz, looked at over T seconds,
/// with a probability of B T sqrt(pi z / 3) e^-z, however finely the band is looked at (Baluev 2008; both from memory).
/// z is where that is `chance`. A sine of amplitude A gives (A N / 2)^2, hence the threshold A = 2 s sqrt(z / N), and
/// the amplitude's standard uncertainty s sqrt(2 / N). s^2 is taken from the periodogram's median, which is N s^2 ln 2,
/// so that a line does not raise its own threshold. Padded with zeros to twice the length or more, and read at the peak
/// of a parabola through the three highest values. Below three periods within T an amplitude may be off by a tenth.
///
/// Nothing when the signal is too short for the range. REQUIRES: period > 0, 0 < chance < 1.
std::optional<SpectralLine> strongest_line(std::span<const double> values, double period, double lowest, double highest,
                                           double chance);

}  // namespace rig
