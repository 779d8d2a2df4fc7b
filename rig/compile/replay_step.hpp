#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Plays a recorded drive and holds every moment of the outputs to the product.
std::unique_ptr<CompiledStep> ask_replay(const ReplaySpec& spec, Script& script);

}  // namespace rig
