#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// What the module does to its wires: how far it pulls each input away from its source in every supply state, how hard
/// its outputs can drive a controller, how near to the rails against the heaviest load, and what is lost of the 5 V
/// rails and the ground on the way through it. Inputs are compared with the same source a moment before, the unit cut
/// off, so that the bench's own errors cancel.
std::unique_ptr<CompiledStep> ask_loading(const LoadingSpec& spec, Script& script);

}  // namespace rig
