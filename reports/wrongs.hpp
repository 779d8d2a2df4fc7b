#pragma once

#include <span>

#include "reports/markup.hpp"
#include "rig/core/finding.hpp"

namespace rig {

/// What did not pass, grouped by what it is about: fail before void before undecided, the worst places of each first.
/// Writes nothing when all passed.
void write_wrongs(Markup& page, std::span<const Finding> findings);

}  // namespace rig
