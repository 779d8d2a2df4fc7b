#pragma once

#include <variant>

#include "rig/measure/waveform.hpp"

/// How an output answers to a step of its input, both sampled. Definitions are those of waveform.hpp.
namespace rig {

/// What is looked at. Both signals rest before the step and after it.
struct StepLook {
  Waveform input, output;
  double output_later = 0;  ///< s, how much later the output's first sample is than the input's
  double apart = 0;         ///< s, standard uncertainty of that
  bool rising = true;
  double within = 0.02;  ///< settled: within this share of the amplitude of the level it goes to
};

/// Doubts are expanded, k = 2. Their rule: an instant at which a signal crosses a level lies anywhere between the two
/// samples about it (rectangular, half a period), and where noise may have carried it across: the noise's standard
/// deviation, read before the step, over the slope there (that of a first-order response: 0.8 of the amplitude over the
/// duration at 50 %, 0.22 of it at 90 %).
struct StepAnswer {
  double amplitude = 0;  ///< of the output, in its unit
  double delay = 0;      ///< s, from the input's 50 % to the output's
  double duration = 0;   ///< s, of the output from 10 to 90 %
  double overshoot = 0;  ///< share of the amplitude
  double settling = 0;   ///< s, from the output's 50 % until it stays within; to the signal's end when it never does
  double input_duration = 0;  ///< s, of the input from 10 to 90 %
  double input_at = 0;        ///< s from the input's first sample: its 50 %
  double delay_doubt = 0, duration_doubt = 0, overshoot_doubt = 0, settling_doubt = 0, input_duration_doubt = 0;
  bool settles = true;
};

enum class NoAnswer { input_does_not_step, output_does_not_step };

std::variant<StepAnswer, NoAnswer> answer_of(const StepLook& look);

}  // namespace rig
