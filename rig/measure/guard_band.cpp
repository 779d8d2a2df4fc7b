#include "rig/measure/guard_band.hpp"

#include <cassert>
#include <cmath>

namespace rig {
namespace {

/// The normal distribution's upper tail.
double above(double z) { return std::erfc(z / std::sqrt(2.0)) / 2; }

}  // namespace

double conformance_probability(double value, double standard_uncertainty, const Band& band) {
  assert(standard_uncertainty > 0);
  double outside = 0;
  if (band.low) outside += above((value - *band.low) / standard_uncertainty);
  if (band.high) outside += above((*band.high - value) / standard_uncertainty);
  return 1 - outside;
}

std::optional<Band> acceptance_interval(const Band& band, double guard) {
  Band accepted = band;
  if (accepted.low) *accepted.low += guard;
  if (accepted.high) *accepted.high -= guard;
  if (accepted.low && accepted.high && *accepted.low > *accepted.high) return std::nullopt;
  return accepted;
}

}  // namespace rig
