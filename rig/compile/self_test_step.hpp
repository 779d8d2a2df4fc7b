#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The bench alone, the unit cut off: every source seen by every capture of its line, supplies, the check standard, the
/// speed signal, and the fault switches. Whatever it finds is the rig's: void, never fail. The opening one connects the
/// unit at its end; the closing one, after the last step, cuts it off first.
enum class SelfTestPlace { opening, closing };
std::unique_ptr<CompiledStep> ask_self_test(const SelfTestSpec& spec, SelfTestPlace place, Script& script);

}  // namespace rig
