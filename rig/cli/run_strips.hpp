#pragma once

#include <string>
#include <utility>
#include <vector>

#include "rig/core/strip.hpp"
#include "rig/store/store_reader.hpp"

namespace rig {

/// Pictures of what was done to a unit in a run, by step.
struct RunStrips {
  std::vector<std::pair<std::string, std::vector<Strip>>> steps;
  std::string missing;  ///< why there are none, or not all; empty when nothing lacks
};

/// Drawn from the store alone: the files kept with the run are compiled once more, and each step looks at its recording
/// again. What does not fit what this program would do today is not drawn but said. Never throws for the store's sake.
RunStrips strips_of(const StoreReader& reader, const StoredRun& run);

}  // namespace rig
