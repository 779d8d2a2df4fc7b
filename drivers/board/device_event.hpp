#pragma once

#include <variant>

#include "drivers/board/device_plan.hpp"

namespace drivers::board {

/// The action that an event entry asks for, or why it may not be done: the port cannot, or its range or the limits of
/// this run forbid it. A value beyond a limit never reaches an instrument.
std::variant<rig::Action, Refusal> action_of(const EventEntry& entry, const DevicePlan& plan);

}  // namespace drivers::board
