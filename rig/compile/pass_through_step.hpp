#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The word a scenario file uses for a state ("zero_speed").
std::string_view to_text(PassThroughState state);

/// out = in, to millivolts and into the controller's load, in every state in which the module must not shift:
/// unpowered, half powered, booting, standing still, idling, bypassed, and with a sensor at either rail.
std::unique_ptr<CompiledStep> ask_pass_through(const PassThroughSpec& spec, Script& script);

}  // namespace rig
