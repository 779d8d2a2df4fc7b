#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The bench alone over a stretch of time, the unit cut off and every source looped back: how far each sense and each
/// source drifts. Whatever it finds is the rig's: void, never fail. Six looks over the stretch; the tracks run
/// throughout, as in every step, so that what is stored grows with the stretch (20 kB a second on the shipped bench, 6
/// MB in five minutes): a scenario of its own at the start of a shift, not a part of each unit's run.
std::unique_ptr<CompiledStep> ask_warm_up(const WarmUpSpec& spec, Script& script);

}  // namespace rig
