#pragma once

#include "rig/compile/scenario.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/capabilities.hpp"
#include "rig/core/complaint.hpp"

namespace rig {

/// Every claim of a scenario that a bench cannot back: a finding that would say something of the unit while the bench
/// could not have seen otherwise. Each names the step, the pin, why, and the way out. Pure.
/// REQUIRES: the bench has a port for every line and rail of the product.
Complaints check_claims(const Scenario& scenario, const BenchSetup& bench, const Capabilities& capabilities);

}  // namespace rig
