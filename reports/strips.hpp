#pragma once

#include <span>

#include "reports/markup.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/strip.hpp"

namespace rig {

/// The strips of one step: those whose finding did not pass large and first, the others folded into a compact grid,
/// which is printed too. What is said of a strip is what the run found and stored; `findings` hold that.
void write_strips(Markup& page, std::span<const Strip> strips, std::span<const Finding> findings);

}  // namespace rig
