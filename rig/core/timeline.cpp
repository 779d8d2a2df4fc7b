#include "rig/core/timeline.hpp"

namespace rig {

Nanoseconds longest(const Segment& segment) {
  if (const auto* until = std::get_if<Until>(&segment.end)) return until->time_out;
  return std::get<Nanoseconds>(segment.end);
}

}  // namespace rig
