#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Steps one pressure at a time, there and back, and looks at how its output answers: delay, transition duration,
/// overshoot and settling by the definitions of IEEE Std 181, input and output both as sampled at the pins. Steps come
/// at instants spread evenly over the product's latency, so that no repeat meets the module's own sampling alike.
std::unique_ptr<CompiledStep> ask_step_response(const StepResponseSpec& spec, Script& script);

}  // namespace rig
