#pragma once

#include <string>

#include "rig/compile/supply_judge.hpp"
#include "rig/core/strip.hpp"

namespace rig {

/// One segment of a course, ready to be drawn: the supply that moves, an output with its input, and where the output
/// belongs. Void where the supplies left their course.
Strip supply_strip(std::string title, std::string finding, const Product& product, const TrackMap& tracks,
                   const PlayedCourse& course, const SupplySegment& segment, const Readings& readings,
                   std::size_t channel);

}  // namespace rig
