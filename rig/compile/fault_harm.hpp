#pragma once

#include "rig/compile/scenario.hpp"

namespace rig {

/// Whether a unit that has been through this scenario must not be sold until it has been fully retested: one of its
/// faults may have hurt it without showing at once.
bool stresses(const Scenario& scenario);

}  // namespace rig
