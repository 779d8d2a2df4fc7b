#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <utility>
#include <vector>

#include "rig/core/quantity.hpp"

namespace drivers::board {

/// The data frames of one epoch, as they go on the wire: numbered from 0, sent in order, each not before its bench time
/// has passed, and kept until the host says it has them. When too many bytes of blocks are waiting the oldest are given
/// up; records and flags never are.
class DeviceFrames {
 public:
  explicit DeviceFrames(std::size_t resend_bytes) : resend_bytes_{resend_bytes} {}
  void clear();
  std::uint32_t next() const { return base_ + static_cast<std::uint32_t>(frames_.size()); }
  /// The first that was never sent.
  std::uint32_t next_to_send() const { return sent_; }
  /// Adds frame number next(). `due` is bench time; it never goes back.
  void add(std::vector<std::uint8_t> coded, bool is_block, rig::Nanoseconds due);
  /// Nothing waits for its time any longer: playing has ended.
  void release_all();
  /// The host has got all before `wanted`.
  void arrived(std::uint32_t wanted);
  struct Range {
    std::uint32_t first, count;
  };
  /// Sends frames again; those that are no longer here are handed back.
  std::vector<Range> resend(std::uint32_t first, std::uint16_t count);

  /// Appends the next frame that may go, and says whether there was one.
  bool take(std::vector<std::uint8_t>& out, rig::Nanoseconds bench_now);
  /// When the next frame may go, in bench time; nothing: none is waiting.
  std::optional<rig::Nanoseconds> next_due() const;
  std::size_t unsent_bytes() const { return unsent_bytes_; }
  /// Nothing would have to be given up yet if a chunk came.
  bool has_room() const { return held_bytes_ < resend_bytes_ / 2; }

 private:
  struct Frame {
    std::vector<std::uint8_t> coded;  ///< empty: given up
    bool is_block;
    rig::Nanoseconds due;
  };
  void give_up_oldest();
  void skip_given_up();

  std::size_t resend_bytes_;
  std::deque<Frame> frames_;
  std::uint32_t base_ = 0;         ///< number of the first frame here
  std::uint32_t sent_ = 0;         ///< number of the first frame that was never sent
  std::uint32_t given_up_to_ = 0;  ///< every block before this one was given up
  std::size_t held_bytes_ = 0, unsent_bytes_ = 0;
  std::deque<Range> again_;
};

}  // namespace drivers::board
