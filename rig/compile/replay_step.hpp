#pragma once

#include <memory>

#include "rig/compile/plan.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// Plays a recorded drive and holds every moment of the outputs to the product: each may lie anywhere between what the
/// tables give for what stood at the pins from now back to the product's lag. Segments of about one and a half seconds
/// are judged by themselves: what was at the pins before a segment is taken from the drive as it was commanded, widened
/// by what sources and senses may be off by.
std::unique_ptr<CompiledStep> ask_replay(const ReplaySpec& spec, Script& script);

}  // namespace rig
