#pragma once

#include "drivers/emulated/defects.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// Throws rig::RigFault for a defect that is unknown, names nothing of the product, or could do nothing to it: a proof
/// that looked for it would prove nothing.
void check_defect(const rig::Product& product, const Defect& defect);

}  // namespace drivers::emulated
