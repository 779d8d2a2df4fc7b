#pragma once

#include <cstddef>
#include <deque>

#include "rig/core/quantity.hpp"

namespace drivers::board {

/// Decides when a link is too bad to be trusted: more than 3 bad frames in 10 s, or 10 in a run.
class LinkHealth {
 public:
  /// Counts bad frames; true once it is too many, and from then on.
  bool bad(std::size_t count, rig::Nanoseconds now);
  /// A new run begins.
  void restart() { *this = {}; }
  std::size_t total() const { return total_; }

 private:
  std::deque<rig::Nanoseconds> recent_;
  std::size_t total_ = 0;
  bool failed_ = false;
};

}  // namespace drivers::board
