#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The grid over speed, pressure and temperature against the product's tables. Each point is read once the lines have
/// settled and judged against what the model says of the speed, pressures, rails and temperature measured at the pins.
/// Besides each point's output: agreement of the two pressures, the 2 x 2 response, hysteresis, noise, settling, the
/// pull on the inputs, the temperature line, and lost speed edges.
std::unique_ptr<CompiledStep> ask_sweep(const SweepSpec& spec, Script& script);

}  // namespace rig
