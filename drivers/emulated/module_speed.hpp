#pragma once

#include <array>
#include <cstdint>
#include <optional>
#include <vector>

#include "rig/core/wheel.hpp"

namespace drivers::emulated {

/// The module's own measurement of engine speed, from the falling edges of its speed input. It knows the wheel, so
/// unequal lobes and missing teeth do not disturb it; it looks back over as many intervals as fit into two of the
/// longest. After a stated number of intervals without an edge the engine stands.
class ModuleSpeed {
 public:
  /// Sixteenths of a revolution per minute.
  static constexpr std::int64_t kUnits = 16;
  ModuleSpeed(const rig::Wheel& wheel, std::uint32_t tick_rate, double time_out_intervals);
  /// A falling edge has come. `angle` is the crank's, which the module has found by counting since the wheel began to
  /// turn.
  void take_falling(std::uint64_t tick, rig::FixedAngle angle);
  /// The speed at a tick, 0 while unknown. Not before the last edge taken.
  std::int64_t at(std::uint64_t tick) {
    if (speed_ != 0 && tick > stands_at_) forget();
    return speed_;
  }
  void forget();

 private:
  struct Edge {
    std::uint64_t tick;
    std::int64_t millidegrees;
  };
  static constexpr std::size_t kKept = 64;
  std::array<Edge, kKept> edges_{};
  std::size_t count_ = 0, next_ = 0;
  std::int64_t speed_ = 0, look_back_;
  std::uint64_t stands_at_ = 0;
  std::int64_t tick_rate_;
  double time_out_ticks_;  ///< times the speed in its units
};

}  // namespace drivers::emulated
