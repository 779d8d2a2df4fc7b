#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/core/fault.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// A fault step as its file describes it.
struct FaultSpec {
  std::string name = "fault";
};

}  // namespace rig
