#pragma once

#include <span>

#include "reports/markup.hpp"
#include "rig/core/finding.hpp"

namespace rig {

/// Findings one by one: measured, expected, allowed, uncertainty, margin, where in the band, verdict; the reason below
/// where there is one.
void write_findings_table(Markup& page, std::span<const Finding* const> findings);

/// The band as a bar with a dot where the value lies; an arrow when it lies beyond the bar's ends.
void write_in_band(Markup& page, const Finding& finding);

}  // namespace rig
