#pragma once

#include <cstdint>

#include "rig/core/tick_time.hpp"

/// The wire's ticks and the bench's durations.
namespace drivers::board {

/// Rounded to nearest. REQUIRES: t >= 0.
inline std::uint64_t ticks_of(rig::Nanoseconds t, std::uint32_t rate) {
  return static_cast<std::uint64_t>(rig::nearest_tick(rig::BenchTime{t}, rate));
}

/// False for lengths of more than a day: a mistake or malice.
constexpr bool is_sane(std::uint64_t ticks, std::uint32_t rate) { return ticks / rate < 86'400; }

/// Rounded to nearest. REQUIRES: is_sane(ticks, rate), or a board time.
inline rig::Nanoseconds time_of(std::uint64_t ticks, std::uint32_t rate) {
  return rig::time_of_tick(static_cast<std::int64_t>(ticks), rate).since_start();
}

}  // namespace drivers::board
