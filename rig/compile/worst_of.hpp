#pragma once

#include <cmath>

namespace rig {

/// One of several readings that are judged as one against an upper limit.
struct Candidate {
  double value = 0;
  double doubt = 0;  ///< expanded
};

/// Whether `a` speaks worse of the unit than `b`: what is surely beyond the limit comes first, then what may lie
/// furthest out, so that a doubtful reading is not displaced by a larger one that is clear. What is no number is worst.
inline bool worse(const Candidate& a, const Candidate& b, double limit) {
  const double may_a = a.value + a.doubt, may_b = b.value + b.doubt;
  if (std::isnan(may_a) || std::isnan(may_b)) return std::isnan(may_a) && !std::isnan(may_b);
  const bool beyond_a = a.value - a.doubt > limit, beyond_b = b.value - b.doubt > limit;
  return beyond_a != beyond_b ? beyond_a : may_a > may_b;
}

}  // namespace rig
