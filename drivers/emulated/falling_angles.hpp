#pragma once

#include <algorithm>
#include <vector>

#include "rig/core/wheel.hpp"

namespace drivers::emulated {

/// A wheel's falling edges, counted through all cycles: number 0 is the first at or after angle 0, numbers may be
/// negative.
class FallingAngles {
 public:
  explicit FallingAngles(const rig::Wheel& wheel) {
    for (const rig::WheelEdge& edge : wheel.edges()) {
      if (!edge.rising) angles_.push_back(edge.angle);
    }
  }
  rig::FixedAngle angle(std::int64_t number) const {
    const auto n = static_cast<std::int64_t>(angles_.size());
    const std::int64_t cycle = number >= 0 ? number / n : -((n - 1 - number) / n);
    return cycle * rig::kFixedCycle + angles_[static_cast<std::size_t>(number - cycle * n)];
  }
  /// The number of the last one at or before an angle >= 0.
  std::int64_t last_at(rig::FixedAngle angle) const {
    const std::int64_t cycle = angle / rig::kFixedCycle;
    const auto passed = std::upper_bound(angles_.begin(), angles_.end(), angle - cycle * rig::kFixedCycle);
    return cycle * static_cast<std::int64_t>(angles_.size()) + (passed - angles_.begin()) - 1;
  }

 private:
  std::vector<rig::FixedAngle> angles_;
};

}  // namespace drivers::emulated
