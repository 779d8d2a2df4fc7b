#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <span>
#include <string>
#include <utility>
#include <vector>

#include "drivers/board/wire_units.hpp"

namespace drivers::board {

/// The host's end of the queue of set-points: turns segments into entries as the board has room, keeps what is not yet
/// accepted, and goes back to the first hole. Pure: it is told of statuses and the time, and hands out frames.
class HostQueue {
 public:
  struct Capacity {
    std::uint32_t entries, bytes;
  };
  HostQueue(const WireMap& map, std::uint32_t epoch, Capacity capacity)
      : map_{&map}, epoch_{epoch}, capacity_{capacity}, free_entries_{capacity.entries}, free_bytes_{capacity.bytes} {}

  /// Segments after those before. They stay where they are; nothing is encoded yet.
  void append(std::span<const rig::Segment> segments);
  void finish() { finished_ = true; }

  /// The next frame to send, or nothing when the board has no room (or not yet half of it), or nothing is left.
  /// Throws rig::RigFault for a segment that a board of this capacity cannot hold.
  std::optional<Queue> next_frame(rig::Nanoseconds now);
  /// The board plays: from now on it gets all it has room for, no longer just 500 ms.
  void started();
  /// What the board says it has, and how much room is left.
  void on_status(const Status& status, rig::Nanoseconds now);
  /// Entries that nothing has been heard of for a while are sent again, from the first hole.
  void on_time(rig::Nanoseconds now);

  bool all_accepted() const { return kept_.empty(); }
  std::uint32_t accepted() const { return accepted_; }
  /// All entries encoded before started(): what arm's digest ends with.
  std::span<const std::uint8_t> preloaded() const { return preloaded_bytes_; }
  /// The segment that begins with this entry; nothing for one whose record has come.
  const rig::Segment* segment_at(std::uint32_t entry) const;
  /// The record of the segment of this id has come: the next one, with its entry, plays or will; nothing: it is not
  /// here yet.
  std::optional<std::pair<std::uint32_t, const rig::Segment*>> recorded(std::uint32_t id);
  std::size_t segments_appended() const { return appended_; }

 private:
  struct Kept {
    Entry entry;
    std::uint32_t bytes;
    std::uint32_t segment_bytes;  ///< of the whole segment, on its segment_begin; else 0
  };
  struct Next {                   ///< a segment that is encoded but has no room yet
    const rig::Segment* segment;  // no initialisers: clang 14 then finds it not constructible inside std::optional
    std::vector<Kept> entries;
    std::uint64_t bytes;
  };
  bool encode_more();
  bool encode_next_segment();
  Kept encoded(Entry entry);
  void push(Kept kept);

  const WireMap* map_;
  std::uint32_t epoch_;
  Capacity capacity_;
  std::deque<std::span<const rig::Segment>> waiting_;
  std::size_t appended_ = 0;
  bool finished_ = false, end_encoded_ = false, started_ = false, filling_ = true;
  rig::Nanoseconds preloaded_{0};
  std::optional<Next> next_;

  std::deque<Kept> kept_;  ///< entries from accepted_ on: encoded, not accepted yet
  std::uint64_t kept_bytes_ = 0;
  std::uint32_t accepted_ = 0, sent_ = 0;
  std::uint32_t free_entries_, free_bytes_;  ///< as of accepted_
  rig::Nanoseconds progress_{0};
  std::vector<std::uint8_t> scratch_, preloaded_bytes_;
  std::deque<std::pair<std::uint32_t, const rig::Segment*>> begins_;
};

}  // namespace drivers::board
