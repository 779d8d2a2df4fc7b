#include "rig/compile/fault_step.hpp"

namespace rig {

// Not reached yet: the loader refuses the step.
std::unique_ptr<CompiledStep> ask_fault(const FaultSpec&, Script&) { return nullptr; }

}  // namespace rig
