#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Steps one input and looks at how its output answers.
std::unique_ptr<CompiledStep> ask_step_response(const StepResponseSpec& spec, Script& script);

}  // namespace rig
