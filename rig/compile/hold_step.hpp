#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Stands still and looks whether the outputs do.
std::unique_ptr<CompiledStep> ask_hold(const HoldSpec& spec, Script& script);

}  // namespace rig
