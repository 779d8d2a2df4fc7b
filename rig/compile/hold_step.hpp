#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Stands still at some points and looks whether the outputs do: noise, drift, limit cycles, drop-outs. A long hold is
/// played in pieces of two seconds at most and concluded over all of them: drift is the line through the whole, or what
/// the pieces' means lie apart by if that is more. An output that is off its table is quiet for nothing: undecided.
std::unique_ptr<CompiledStep> ask_hold(const HoldSpec& spec, Script& script);

}  // namespace rig
