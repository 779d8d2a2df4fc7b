#pragma once

#include <atomic>
#include <mutex>
#include <optional>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/board/board_connection.hpp"
#include "drivers/board/host_queue.hpp"
#include "drivers/board/host_stream.hpp"
#include "drivers/board/host_until.hpp"

namespace drivers::board {

/// One playing of segments on a rig board. Loads limits and tracks when it is made, arms and starts with the first
/// append(). All duties (heartbeats, refilling the queue, asking for lost readings, the clocks) are done inside next(),
/// append() and finish(), so a caller that stops calling lets the board's watchdog make the outputs safe.
class BoardSession : public Session {
 public:
  /// The connection and the map must outlive it. Throws rig::RigFault.
  BoardSession(BoardConnection& connection, const WireMap& map, const SessionPlan& plan);
  ~BoardSession() override;

  const std::vector<rig::TrackInfo>& tracks() const override { return tracks_; }
  void append(std::span<const rig::Segment> segments) override;
  void finish() override;
  Progress next(rig::Chunk& chunk) override;
  void stop(std::string reason) noexcept override;
  rig::EndState close() noexcept override;

 private:
  // board_session_open.cpp: up to the start
  void acknowledge_latch();
  void load(const SessionPlan& plan);
  void load_wheel(const PortWheel& wheel);
  void load_tracks(const rig::CapturePlan& plan);
  Message load_part(const Message& part, const std::string& to_do);
  void start_up();
  void preload();
  void arm();
  void start();

  // board_session.cpp: playing
  void take(const Message& message);
  void take_status();
  void service();
  void beat(rig::Nanoseconds now);
  void refill(rig::Nanoseconds now);
  void watch_deadline(rig::Nanoseconds now);
  void watch_clock();
  void hand_out(rig::Chunk& chunk);
  void watch_settling(rig::Chunk& chunk);
  void follow(const rig::SegmentRecord& record);
  void advance();
  bool over() const;
  bool awaits_records() const;
  bool idle() const;
  rig::Nanoseconds next_duty(rig::Nanoseconds now) const;
  void make_safe();
  rig::EndState end_state() const;

  BoardConnection& connection_;
  const WireMap& map_;
  std::vector<rig::TrackInfo> tracks_;
  std::uint32_t epoch_ = 0;
  std::vector<std::uint8_t> loaded_;  ///< payloads of limits, wheels, plan, state: what arm's digest begins with
  std::optional<HostQueue> queue_;
  std::optional<HostStream> stream_;
  std::optional<HostUntil> until_;
  std::optional<std::uint32_t> watched_;  ///< entry that begins the segment that until_ watches, until its record comes
  bool started_ = false, finished_ = false, closed_ = false, clock_flagged_ = false;
  std::size_t records_ = 0;  ///< handed out
  rig::Nanoseconds last_beat_{0}, last_clock_{0}, last_stop_{0};
  const rig::Segment* playing_ = nullptr;
  rig::Nanoseconds playing_since_{0};
  std::optional<rig::Nanoseconds> safe_since_;  ///< when the board was first heard to be safe after the start

  std::vector<std::uint8_t> stop_frame_;
  std::atomic<bool> stop_asked_ = false;
  mutable std::mutex reason_mutex_;  ///< guards the text alone
  std::string stop_reason_;
};

}  // namespace drivers::board
