#pragma once

#include <string>

#include "rig/core/drive.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// A recorded drive as the stimulus.
struct ReplaySpec {
  std::string name = "replay";
};

}  // namespace rig
