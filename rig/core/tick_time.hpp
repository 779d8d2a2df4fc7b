#pragma once

#include <cstdint>

#include "rig/core/quantity.hpp"

/// Ticks of a bench's base clock and its time. Exact both ways where a tick is whole nanoseconds; otherwise a tick goes
/// to nanoseconds and back unchanged. REQUIRES: rate in 1 to 1e9 a second, times and ticks not negative.
namespace rig {

std::int64_t nearest_tick(BenchTime at, std::uint32_t rate);
/// The first tick that is not before `at`.
std::int64_t first_tick_from(BenchTime at, std::uint32_t rate);
BenchTime time_of_tick(std::int64_t tick, std::uint32_t rate);

}  // namespace rig
