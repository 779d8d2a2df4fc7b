#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/emulated/recorder.hpp"
#include "rig/core/settle_detector.hpp"
#include "rig/core/timeline.hpp"

namespace drivers::emulated {

/// Watches whether what a segment waits for has come about.
class SettleWatch {
 public:
  /// A new segment that waits. The tracks say how long a bin is.
  void begin(const rig::Until& until, const std::vector<rig::TrackInfo>& tracks, std::int64_t segment_start);
  /// A step of the grid is over; true when every condition holds at this very bin.
  bool take(const Recorder& recorder, std::int64_t now);
  /// Per condition: since when it has held without a break, from the segment's start.
  std::vector<std::optional<rig::Nanoseconds>> settled() const;

 private:
  struct Condition {
    rig::TrackId track;
    std::int64_t window, bin, slowest;
    double span;
    rig::SettleDetector detector;
    std::optional<std::int64_t> held_from;
    bool same(const rig::SettleCondition& other, std::int64_t other_bin) const;
  };
  std::vector<Condition> conditions_;
  std::size_t used_ = 0;
  std::int64_t start_ = 0, not_before_ = 0;
};

}  // namespace drivers::emulated
