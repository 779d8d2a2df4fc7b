#pragma once

#include <optional>

#include "rig/core/finding.hpp"

/// How sure a verdict is (JCGM 106:2012). The verdict itself is rig::decide in rig/core/finding.hpp.
namespace rig {

/// The probability that the true value lies within the band, the measured one being normal about it (7).
/// REQUIRES: standard_uncertainty > 0.
double conformance_probability(double value, double standard_uncertainty, const Band& band);

/// The values that are accepted when both limits are drawn in by `guard` (8.3.2); nothing when no value is left: then
/// the measurement is too coarse for the band, and nothing may be accepted.
std::optional<Band> acceptance_interval(const Band& band, double guard);

}  // namespace rig
