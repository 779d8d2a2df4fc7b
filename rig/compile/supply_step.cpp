#include "rig/compile/supply_step.hpp"

namespace rig {

// Not reached yet: the loader refuses the step.
std::unique_ptr<CompiledStep> ask_supply(const SupplySpec&, Script&) { return nullptr; }

}  // namespace rig
