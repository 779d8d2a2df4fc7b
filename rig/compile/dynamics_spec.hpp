#pragma once

#include <string>
#include <vector>

#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// How an output answers to a step of its input.
struct StepResponseSpec {
  std::string name = "step_response";
};

/// Whether an output stands still while everything else does.
struct HoldSpec {
  std::string name = "hold";
};

}  // namespace rig
