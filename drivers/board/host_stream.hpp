#pragma once

#include <cstdint>
#include <map>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "drivers/board/wire_units.hpp"

namespace drivers::board {

/// The host's end of the data frames: puts them in order, asks for those that are missing, and makes a chunk of what is
/// whole. A gap that cannot be mended is told in `dropped_before` and by a flag.
/// Frames that no board keeping to the protocol could send throw rig::RigFault. Pure: it is handed frames and the time.
class HostStream {
 public:
  HostStream(const WireMap& map, std::uint32_t epoch, std::vector<rig::TrackInfo> tracks);

  void take(const Blocks& frame) { take_any(frame, frame.epoch, frame.number); }
  void take(const Record& frame) { take_any(frame, frame.epoch, frame.number); }
  void take(const Flag& frame) { take_any(frame, frame.epoch, frame.number); }
  void take(const Gone& frame);
  /// `data` of a status: the number of the next frame the board will send.
  void expect_up_to(std::uint32_t data) { end_ = std::max(end_, data); }

  /// What to ask for again now, if anything: every hole at once, each frame again after 50 ms. Gives up on a frame
  /// after five times.
  std::vector<Resend> requests(rig::Nanoseconds now);
  /// The first frame that has not come: heartbeats say so.
  std::uint32_t wanted() const { return wanted_; }
  bool complete() const { return wanted_ >= end_ && ahead_.empty(); }

  /// Moves what is in order to the end of a chunk.
  void move_to(rig::Chunk& chunk);
  bool anything() const { return !ready_.empty(); }

 private:
  using Frame = std::variant<Blocks, Record, Flag>;
  void take_any(Frame frame, std::uint32_t epoch, std::uint32_t number);
  bool is_time(std::int64_t tick) const;
  void check(const Blocks& frame) const;
  void check(const Record& frame) const;
  void check(const Flag& frame) const;
  void deliver_ready();
  void deliver(const Blocks& frame);
  void deliver(const Record& frame);
  void deliver(const Flag& frame);
  void skip_to(std::uint32_t number);
  void give_up_hopeless();
  std::uint32_t lost_before(const WireBlock& block);

  const WireMap* map_;
  std::uint32_t epoch_;
  std::vector<rig::TrackInfo> tracks_;
  struct Lane {
    std::uint16_t next_block = 0;
    std::int64_t next_tick = 0;  ///< where the next reading would begin, were none lost
  };
  std::vector<Lane> lanes_;
  std::map<std::uint32_t, Frame> ahead_;  ///< came before their turn
  std::uint32_t wanted_ = 0, end_ = 0;
  struct Asked {
    rig::Nanoseconds last;
    int times = 0;  ///< while a later frame was here
  };
  std::map<std::uint32_t, Asked> asked_;  ///< by frame, for those that have not come
  std::uint64_t last_tick_ = 0;
  rig::Chunk ready_;
};

}  // namespace drivers::board
