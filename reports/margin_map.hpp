#pragma once

#include <optional>

#include "reports/markup.hpp"
#include "reports/point_map.hpp"

namespace rig {

/// The map of margins at one temperature, as a table that is its own picture: speed to the right, pressure upwards, in
/// each cell the distance to the nearer limit as a number, on five shades of one hue (dark: little left). What did not
/// pass has a heavy frame and a sign of its own, so that nothing depends on colour.
void write_margin_map(Markup& page, const PointMap& map, std::optional<double> degrees);

/// What shades and signs mean; once for a page.
void write_margin_legend(Markup& page);

}  // namespace rig
