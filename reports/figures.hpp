#pragma once

#include <optional>
#include <string>
#include <string_view>

#include "rig/core/finding.hpp"

/// Figures as they are printed: a fixed number of places for each unit, in no locale, with a true minus sign.
namespace rig {

/// "12.50", "−0.07"; "no value" for what is not finite. Never "−0.00".
std::string figure(double value, int places);
/// As many places as readings in that unit deserve ("kPa" 2, "V" 4, "rpm" 0, ...).
int places_for(std::string_view unit);
/// The value with its unit: "180.25 kPa".
std::string with_unit(double value, std::string_view unit);
/// What the band allows: "178.75 to 181.75", "at most 0.0150", "at least 4.9000", "not limited".
std::string allowed(const Finding& finding);

/// The margin as a share of what there is at most: 1 in the middle of the band, 0 at a limit, negative beyond it.
/// Nothing for a one-sided band or a missing margin.
std::optional<double> margin_share(const Finding& finding);

/// A coordinate inside SVG: short, and the same in every locale.
std::string coordinate(double value);

}  // namespace rig
