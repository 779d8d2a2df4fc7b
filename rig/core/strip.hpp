#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// A short stretch of time around something that was done to a unit, ready to be drawn: what was done, what came out,
/// by when it had to be right, and what was found.
struct Strip {
  /// A signal as a picture shows it: extremes of as many equal bins as there are points.
  struct Signal {
    std::string name;  ///< "manifold_pressure, out"
    std::string in;    ///< unit: "V", "rpm"
    bool input = false;
    std::vector<double> low, high;
  };
  /// Where an output belongs, as long as it belongs anywhere.
  struct Lane {
    std::string signal;  ///< the Signal's name
    Nanoseconds from{0}, to{0};
    double low = 0, high = 0;
  };
  std::string title;      ///< "charge_pressure open, biased up, at 3500 rpm, 200 kPa"
  std::string finding;    ///< the characteristic it shows
  Nanoseconds length{0};  ///< times below count from the strip's start
  std::vector<Signal> signals;
  std::vector<Lane> lanes;
  std::optional<Nanoseconds> onset, deadline, arrived, removed;
  std::optional<Nanoseconds> uncertainty;  ///< of `arrived`, either way
  Verdict verdict = Verdict::void_;
};

}  // namespace rig
