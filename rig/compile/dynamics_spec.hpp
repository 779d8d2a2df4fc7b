#pragma once

#include <string>
#include <vector>

#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// How an output answers to a step of its input: each pressure in turn, there and back, while the other one is held.
struct StepResponseSpec {
  std::string name = "step_response";
  std::vector<Rpm> speeds{Rpm{1000}, Rpm{3500}};
  Kilopascals from{140}, to{190};  ///< of the pressure that steps
  Kilopascals held{165};           ///< of the other one
  int repeat = 3;                  ///< in each direction
  // What is expected, by the definitions of IEEE Std 181 (rig/measure/waveform.hpp); the worst of all repeats counts.
  Nanoseconds delay{15'000'000};     ///< from the input's 50 % to the output's
  Nanoseconds duration{20'000'000};  ///< of the output, from 10 to 90 %
  double overshoot = 0.05;           ///< of the amplitude
  Nanoseconds settling{50'000'000};  ///< from the output's 50 % until it stays within ...
  double within = 0.02;              ///< ... this share of the amplitude
  Nanoseconds spread{5'000'000};     ///< of the delay, from repeat to repeat
};

/// Whether an output stands still while everything else does.
struct HoldSpec {
  struct Point {
    Rpm speed;
    Kilopascals pressure;  ///< of the pressure that indexes the tables
  };
  std::string name = "hold";
  std::vector<Point> points{{Rpm{3500}, Kilopascals{180}}};
  Nanoseconds length{2'000'000'000};  ///< at each point
  // What is expected.
  Volts peak_to_peak{0.015};  ///< of all conversions
  Volts rms{0.003};           ///< of the 1 ms means
  Kilopascals drift{0.3};     ///< over the whole hold
  Volts limit_cycle{0.003};   ///< amplitude of the strongest periodic line
  Volts excursion{0.03};      ///< further than this from the median for longer than 1 ms is a drop-out: none may be
};

}  // namespace rig
