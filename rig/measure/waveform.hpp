#pragma once

#include <optional>
#include <span>

/// What a transition between two levels is like, by the definitions of IEEE Std 181-2011 (from memory; the standard's
/// text was not at hand). Values are in the signal's unit; times are seconds from the waveform's first sample.
namespace rig {

/// An evenly sampled signal. Instants between samples are found by straight lines.
struct Waveform {
  std::span<const double> values;
  double period = 0;  ///< s between samples
};

/// The two levels a signal rests at.
struct StateLevels {
  double low = 0, high = 0;
  double amplitude() const { return high - low; }
};

/// State levels by histogram (5.2): the signal's range in `bins` equal bins; the fullest bin of the lower half and that
/// of the upper half; each level is the mean of the samples in and beside its bin, so that no bin's width is left in
/// it. Nothing when the signal does not move, is not finite, or one half is empty. REQUIRES: bins >= 4.
std::optional<StateLevels> state_levels(std::span<const double> values, int bins = 256);

/// One transition from a level to the other.
struct Transition {
  bool rising = true;
  double t10 = 0, t50 = 0, t90 = 0;  ///< last crossing of 10 % before, the first of 50 %, the first of 90 % after it
  double overshoot = 0;              ///< beyond the level it goes to, after t50, as a share of the amplitude; 0: none
  double preshoot = 0;               ///< beyond the level it comes from, before t50, as a share of the amplitude
  double duration() const { return t90 - t10; }
};

/// The first transition between the levels, in the direction asked for: nothing when the signal never goes from 10 % to
/// 90 % of the amplitude.
std::optional<Transition> first_transition(const Waveform& signal, const StateLevels& levels, bool rising);

/// When the signal last enters the band of `share` of the amplitude around the level it goes to, from `from` on; `from`
/// itself when it never leaves. Nothing when it ends outside.
std::optional<double> settled_at(const Waveform& signal, const StateLevels& levels, bool rising, double share,
                                 double from);

}  // namespace rig
