#pragma once

#include <optional>

#include "rig/core/quantity.hpp"

namespace rig {

/// What the engine's controller puts behind an output, or what a bench's load bank puts there in its stead.
struct ControllerInput {
  std::optional<Ohms> pull_up = {};    ///< to the channel's 5 V rail
  std::optional<Ohms> pull_down = {};  ///< to sensor ground
  Nanoseconds filter{0};               ///< time constant of its input filter; 0: not stated
};

}  // namespace rig
