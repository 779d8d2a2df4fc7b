#pragma once

#include "reports/markup.hpp"
#include "reports/point_map.hpp"

namespace rig {

/// Measured against expected, one small picture for each speed on the same scales: how far the measured value lies from
/// the expected one over the pressure, with the band around it, the limits as lines, the uncertainty as whiskers. One
/// marker shape for each temperature, hollow when the point was approached from above.
void write_deviation_plots(Markup& page, const PointMap& map);

}  // namespace rig
