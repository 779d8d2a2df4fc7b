#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Cold starts, repeated: how long until the outputs follow the table, what current it takes, and no glitch on any
/// output meanwhile. Each start begins with every source open and every supply discharged, so that nothing feeds back.
/// Judged at an operating point with a large shift, where a module that is still starting can be told from one that
/// works.
std::unique_ptr<CompiledStep> ask_power_up(const PowerUpSpec& spec, Script& script);

}  // namespace rig
