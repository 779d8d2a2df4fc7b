#pragma once

#include <optional>
#include <vector>

#include "rig/compile/plan.hpp"
#include "rig/compile/settled_point.hpp"

namespace rig {

/// What a sweep keeps of one point for its conclusions, packed into a Reduction's numbers (NaN where there is none).
struct SweepKept {
  struct Channel {
    double in, out, expected;  ///< kPa
    double out_u;              ///< kPa, output and expectation together
    double source_error;       ///< V, pin against what the source was set to
    double noise;              ///< V, peak to peak of the output
    double settled_after_ms;   ///< NaN when the speed changed in this segment, or it did not settle
  };
  std::vector<Channel> channels;
  double edges_lost = 0;
  double temperature_error = 0, temperature_u = 0;  ///< K; an infinite error: the output did not settle
};

std::vector<double> pack(const SweepKept& kept);
std::optional<SweepKept> unpack(const Reduction& reduction, std::size_t channels);  ///< nothing when voided

}  // namespace rig
