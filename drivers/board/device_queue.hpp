#pragma once

#include <deque>
#include <span>

#include "drivers/board/device_segment.hpp"
#include "drivers/link/crc32c.hpp"

namespace drivers::board {

/// The queue of one epoch: entries in contiguous order, credit, and the segments they make. Segments stay where they
/// are until clear(), since a session plays them from there.
class DeviceQueue {
 public:
  DeviceQueue(const DevicePlan& plan, std::uint32_t most_entries, std::uint32_t most_bytes)
      : segment_{plan}, most_entries_{most_entries}, most_bytes_{most_bytes} {}
  void clear();

  struct Refused {
    Refusal refusal;
    bool ends_epoch = true;  ///< false: the entries were merely too many, and can be sent again
  };
  /// Takes the entries of a `queue` frame as they came (kind, length, body; sound, since the frame was decoded): skips
  /// repeats, drops what lies beyond a hole.
  std::optional<Refused> take(const Queue& frame, std::span<const std::uint8_t> bytes);

  std::uint32_t next() const { return next_; }
  std::uint32_t free_entries() const { return most_entries_ - used_entries_; }
  std::uint32_t free_bytes() const { return most_bytes_ - used_bytes_; }
  /// A segment has begun and not ended.
  bool partial() const { return segment_.partial(); }
  /// The end of the timeline is here.
  bool at_end() const { return at_end_; }
  /// Complete segments that were not handed out yet.
  bool ready() const { return handed_out_ < segments_.size(); }
  /// The next one. REQUIRES: ready().
  const rig::Segment& hand_out() { return segments_[handed_out_++].segment; }
  /// A segment has been played: its entries are free again. REQUIRES: one that was handed out has not ended yet.
  void ended();
  /// How many segments have ended, and the entry that begins a complete one; all ones: that one is not here.
  std::size_t ended_count() const { return ended_; }
  std::uint32_t begin_entry(std::size_t segment) const {
    return segment < segments_.size() ? segments_[segment].begin : kNoEntry;
  }
  /// Continues a digest over all entries so far, and keeps none of their bytes any longer.
  void seal(link::Crc32c& digest);

 private:
  struct Whole {
    rig::Segment segment;
    std::uint32_t begin, entries, bytes;
  };
  std::optional<Refused> take_one(const Entry& entry, std::span<const std::uint8_t> bytes);

  DeviceSegment segment_;
  std::uint32_t most_entries_, most_bytes_;
  std::deque<Whole> segments_;
  std::size_t handed_out_ = 0, ended_ = 0;
  std::uint32_t next_ = 0, used_entries_ = 0, used_bytes_ = 0;
  std::uint32_t begin_ = 0, open_bytes_ = 0;  ///< of the segment that is being taken
  bool at_end_ = false, sealed_ = false;
  std::vector<std::uint8_t> bytes_;
};

}  // namespace drivers::board
