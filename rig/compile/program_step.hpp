#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Runs an external program (to load and lock firmware) while the bench holds the unit, powered or not: one short
/// segment, played over and over until the program has ended.
/// Exit code 0 passes. Anything else is void, never a pass and never a fail: whether the unit, its cable or the program
/// is at fault, only what the program printed can tell, and it is kept with the run.
std::unique_ptr<CompiledStep> ask_program(const ProgramSpec& spec, const RunFacts& facts, Script& script);

}  // namespace rig
