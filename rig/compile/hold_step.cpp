#include "rig/compile/hold_step.hpp"

namespace rig {

// Not reached yet: the loader refuses the step.
std::unique_ptr<CompiledStep> ask_hold(const HoldSpec&, Script&) { return nullptr; }

}  // namespace rig
