#pragma once

#include <cstdint>

/// How warm it is about the bench.
namespace drivers::emulated {

/// Degrees Celsius at a time since the session's start: a room near 25 degrees that wanders a little, and a fixture
/// that the units' warmth raises by a few degrees within a quarter of an hour. A pure function of the seed.
double room_celsius(std::uint64_t seed, std::int64_t at);
double fixture_celsius(std::uint64_t seed, std::int64_t at);

}  // namespace drivers::emulated
