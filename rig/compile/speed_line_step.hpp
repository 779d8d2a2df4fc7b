#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The speed line as its product says it is.
///   tapped        resistance from pin to pin, low and high level as the controller sees them (powered and not), a
///                 pull-up of the module's own, how far edges move from pin to pin, edges lost
///   regenerated   low and high level, edges lost, delay and jitter
///   either        what the module makes of raised lows, lowered highs and slow noisy edges: both outputs must stay
///                 where the table has them
///   a straight-through plug: resistance, levels, edges; what it reads is the baseline of the bench
/// What the bench cannot do of it is refused beforehand (claims.hpp).
std::unique_ptr<CompiledStep> ask_speed_line(const SpeedLineSpec& spec, const RunFacts& facts, Script& script);

}  // namespace rig
