#pragma once

#include <string>
#include <vector>

#include "drivers/emulated/defects.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// What the unit does to the wires it sits in: fills in leakage, wires, rails, ground, speed and the cross-feed between
/// rails. The channels must be there. Their spread is a stream of its own, so that it moves nothing else.
void build_wires(const rig::Product& product, const std::vector<Defect>& defects, bool nominal, UnitBuild& unit);

}  // namespace drivers::emulated
