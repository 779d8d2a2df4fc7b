#pragma once

#include <optional>
#include <vector>

#include "rig/core/quantity.hpp"

namespace rig {

/// A moment of a recorded drive: what the sensors saw.
struct DrivePoint {
  Nanoseconds at{0};  ///< from the drive's start
  Rpm speed;
  std::vector<Kilopascals> pressures;  ///< one per pressure of the product, in its order
  std::optional<Celsius> temperature;
};

/// A recorded drive: times strictly rising from 0, unevenly sampled; linear between points.
struct Drive {
  std::vector<DrivePoint> points;
  Nanoseconds duration() const { return points.empty() ? Nanoseconds{0} : points.back().at; }
};

}  // namespace rig
