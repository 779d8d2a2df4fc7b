#include "rig/compile/replay_step.hpp"

namespace rig {

// Not reached yet: the loader refuses the step.
std::unique_ptr<CompiledStep> ask_replay(const ReplaySpec&, Script&) { return nullptr; }

}  // namespace rig
