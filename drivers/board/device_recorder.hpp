#pragma once

#include <vector>

#include "drivers/board/device_frames.hpp"
#include "drivers/board/messages.hpp"
#include "rig/core/recording.hpp"

namespace drivers::board {

/// Turns what the bench saw into data frames, in the order in which they are to be read: every block that reaches into
/// a segment before its record, and so its flags.
class DeviceRecorder {
 public:
  struct Wire {
    std::uint16_t session = 0;
    std::uint32_t epoch = 0;
    std::uint32_t tick_rate = 1;
    bool paced = false;  ///< blocks are cut so that none waits more than 5 ms for its end
  };
  DeviceRecorder(DeviceFrames& frames, std::vector<rig::TrackInfo> tracks, Wire wire);
  void take(const rig::Chunk& chunk);
  /// A flag of the board's own.
  void take(const rig::RigFlag& flag);
  /// Bench time that the readings taken so far are known to reach to.
  rig::Nanoseconds reached() const { return reached_; }

 private:
  struct Item;
  void cut(const rig::Block& block, std::vector<Item>& items);
  void cut_series(const rig::Block& block, WireBlock piece, std::size_t most, std::vector<Item>& items);
  void cut_edges(const rig::Block& block, WireBlock piece, std::size_t most, std::vector<Item>& items);
  void add_piece(WireBlock piece, rig::Nanoseconds begin, rig::Nanoseconds end, std::vector<Item>& items);
  void put(WireBlock&& block, rig::Nanoseconds end);
  void put(const rig::RigFlag& flag);
  void put(const rig::SegmentRecord& record, rig::Nanoseconds due);
  void flush();
  void send(Message message, bool is_block, rig::Nanoseconds due);
  std::uint64_t ticks(rig::Nanoseconds t) const;

  DeviceFrames& frames_;
  std::vector<rig::TrackInfo> tracks_;
  Wire wire_;
  std::vector<std::uint16_t> block_numbers_;
  rig::Nanoseconds reached_{0};
  Blocks open_;  ///< the frame that is being filled
  std::size_t open_size_ = 0;
  rig::Nanoseconds open_first_{0}, open_last_{0};  ///< ends of its first and last block
};

}  // namespace drivers::board
