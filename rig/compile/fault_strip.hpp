#pragma once

#include "rig/compile/fault_judge.hpp"
#include "rig/core/strip.hpp"

namespace rig {

/// The picture of one fault: in and out of every pressure line, where each output belongs, and when it came there.
std::vector<Strip> strips_of(const FaultJudge& judge, const Product& product, const TrackMap& tracks,
                             const Readings& readings, Celsius intake);

}  // namespace rig
