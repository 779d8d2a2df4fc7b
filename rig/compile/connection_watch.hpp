#pragma once

#include <memory>

#include "rig/compile/plan.hpp"

namespace rig {

/// Whether a unit was there at all: a module that is connected draws current at least once in a run. When none was ever
/// drawn, no unit is fitted or the isolator does not close, and whatever else was found is about an empty connector.
std::unique_ptr<CompiledWatch> watch_connection(const BenchSetup& bench, const TrackMap& tracks);

}  // namespace rig
