#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Plays courses of the supplies and looks at what the outputs do meanwhile.
std::unique_ptr<CompiledStep> ask_supply(const SupplySpec& spec, Script& script);

}  // namespace rig
