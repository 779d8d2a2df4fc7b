#pragma once

#include <cstdint>
#include <deque>
#include <map>
#include <optional>
#include <vector>

#include "drivers/board/wire_units.hpp"
#include "rig/core/settle_detector.hpp"

namespace drivers::board {

/// Decides on the host when an `until` segment has settled, for boards that leave that to it. Fed with the readings as
/// they come; is told which segment they belong to. Pure.
class HostUntil {
 public:
  HostUntil(const WireMap& map, std::vector<rig::TrackInfo> tracks) : map_{&map}, tracks_{std::move(tracks)} {}

  /// A segment has begun to play, `start` ticks after the session's start. Call it again as often as you like; another
  /// start than before begins it anew.
  void playing(const rig::Segment& segment, std::uint64_t start);
  /// Readings in order. True when the segment that plays has settled just now: tell the board to advance.
  bool take(const rig::Block& block);
  /// The segment that take() last said to end.
  std::optional<std::uint32_t> ended() const { return ended_; }
  /// Makes the record of a segment say what the board could not know: it settled (even if the board heard too late to
  /// end it for that), or which of its lines did. Records come in order, perhaps long after the next segment has begun
  /// to play. False: it ran out of its time and nobody watched whether it settled.
  bool complete(rig::SegmentRecord& record);

 private:
  struct Seen {  ///< what a condition knew at the end of one bin
    rig::BenchTime end;
    bool settled;
    rig::BenchTime since;
  };
  struct Condition {
    rig::SettleCondition asked;
    rig::SettleDetector detector;
    std::deque<Seen> seen;
    std::optional<Seen> last;
  };
  struct Known {
    std::vector<std::optional<rig::Nanoseconds>> settled;  ///< per condition
    bool all = false;                                      ///< at one and the same bin
  };
  void take(Condition& condition, const rig::Block& block);
  bool all_settled();
  void note_state();

  const WireMap* map_;
  std::vector<rig::TrackInfo> tracks_;
  std::optional<std::uint32_t> segment_, ended_;
  rig::BenchTime start_, from_;
  std::vector<Condition> conditions_;
  std::map<std::uint32_t, Known> known_;  ///< by segment, until its record has come
};

}  // namespace drivers::board
