#pragma once

#include <chrono>
#include <optional>
#include <string>
#include <string_view>

namespace rig {

/// A moment by the host's clock, UTC. For stamps that people read; no duration is ever taken from two of them.
using WallTime = std::chrono::sys_time<std::chrono::milliseconds>;

WallTime wall_time_now();
std::string to_text(WallTime time);  ///< RFC 3339, UTC, to the millisecond: "2026-03-01T12:00:00.250Z"
std::optional<WallTime> wall_time_from_text(std::string_view text);

}  // namespace rig
