#pragma once

#include <cstdint>
#include <deque>
#include <limits>

#include "rig/core/product.hpp"

namespace drivers::emulated {

/// What one unit's program and its supply watch for, in the program's units.
struct FailsafeBuild {
  static constexpr std::int64_t kNever = std::numeric_limits<std::int64_t>::max();
  std::int64_t debounce_ns = 0;
  std::int64_t healthy_ns = 0;   ///< kNever: it does not come back
  std::int64_t ramp_in_ns = 0;   ///< 0: the shift is there at once
  std::int64_t latch_after = 0;  ///< kNever: it falls back as often as it likes
  std::int64_t latch_within_ns = 0;
  std::int64_t watchdog_ns = 0;           ///< kNever: a program that stands still goes on standing
  double disagreement_kpa = 0;            ///< infinity: it does not look
  double brown_out = 0, works_again = 0;  ///< V, of the battery
  bool one_sided = false;                 ///< only a faulty channel goes back to its input
};

/// Decides, sample by sample, whether the program has fallen back: after a fault that stays, until its inputs have been
/// healthy for a while, and for good once it has happened too often.
class ModuleFailsafe {
 public:
  explicit ModuleFailsafe(const FailsafeBuild& build) : build_{build} {}
  /// The program starts. How often it has fallen back is remembered through a reset.
  void restart();
  /// Power is lost, and with it the memory of what was.
  void forget();
  void take(std::int64_t now, bool faulty);
  bool fallen_back() const { return fallen_; }

 private:
  void fall_back(std::int64_t now);

  FailsafeBuild build_;
  bool fallen_ = false, latched_ = false;
  std::int64_t faulty_since_ = FailsafeBuild::kNever, healthy_since_ = FailsafeBuild::kNever;
  std::deque<std::int64_t> falls_;  ///< of late, oldest first
};

}  // namespace drivers::emulated
