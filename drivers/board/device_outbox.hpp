#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "rig/core/quantity.hpp"

namespace drivers::board {

/// Replies and statuses that wait to be sent, and the pace of the link. Bounded: a host that asks and never reads loses
/// what it may ask for again.
class DeviceOutbox {
 public:
  /// Every frame waits `latency`; a byte takes ten bits of `baud` (0: no time).
  DeviceOutbox(rig::Nanoseconds latency, std::uint32_t baud) : latency_{latency}, baud_{baud} {}
  void clear() { frames_.clear(), bytes_ = 0; }
  /// False: there was no room and the frame is lost.
  bool add(std::vector<std::uint8_t> coded, rig::Nanoseconds now);
  /// Appends the next frame that is due.
  bool take(std::vector<std::uint8_t>& out, rig::Nanoseconds now);
  std::optional<rig::Nanoseconds> next_due() const;

  /// From when on the link has room for another frame; the bytes sent since are told to sent().
  rig::Nanoseconds free_at() const { return busy_until_ - kAhead; }
  void sent(std::size_t bytes, rig::Nanoseconds now);

 private:
  /// How far the link may be filled ahead, so that a wake a little late costs no throughput.
  static constexpr rig::Nanoseconds kAhead{1'000'000};
  struct Frame {
    rig::Nanoseconds due;
    std::vector<std::uint8_t> coded;
  };
  rig::Nanoseconds latency_;
  std::uint32_t baud_;
  std::deque<Frame> frames_;
  std::size_t bytes_ = 0;
  rig::Nanoseconds busy_until_{0};
};

}  // namespace drivers::board
