#pragma once

#include <memory>

#include "rig/compile/plan.hpp"

namespace rig {

/// The hard ceiling of each pressure channel, judged over every reading of the whole run: how long, at a stretch, the
/// output hid more than the product may ever hide (or added more than it may add, or left its window) while the input
/// was a valid one and the 5 V rail was there.
std::unique_ptr<CompiledWatch> watch_ceiling(const Product& product, const BenchSetup& bench, const TrackMap& tracks,
                                             std::vector<Disturbed> disturbed = {});

}  // namespace rig
