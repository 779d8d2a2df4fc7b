#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Breaks wires and sensors on purpose, and times what the outputs do.
std::unique_ptr<CompiledStep> ask_fault(const FaultSpec& spec, Script& script);

}  // namespace rig
