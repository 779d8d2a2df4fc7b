#pragma once

#include <string>
#include <vector>

#include "rig/compile/supply_course.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// What the module does while its supplies are not what they should be.
struct SupplySpec {
  std::string name = "supply";
};

}  // namespace rig
