#pragma once

#include <deque>
#include <memory>
#include <optional>
#include <string>

#include "drivers/bench.hpp"
#include "drivers/board/device_frames.hpp"
#include "drivers/board/device_queue.hpp"
#include "drivers/board/device_recorder.hpp"

namespace drivers::board {

/// Plays the queue of one epoch on a bench's session, at the pace of the board's clock or as fast as the host takes the
/// readings. A session in virtual time runs at most one chunk ahead of the clock; its readings wait for their time.
///
/// While nothing is there to play the bench's time stands still (its outputs hold what they have), and goes on where it
/// was: so a run's readings do not depend on how long the host thought.
class DevicePlayer {
 public:
  /// `now` in all calls is host time since power-on.
  DevicePlayer(DeviceQueue& queue, DeviceFrames& frames, bool paced, const rig::Capabilities& bench)
      : queue_{queue}, frames_{frames}, bench_{bench}, paced_{paced} {}

  /// Takes over a session that nothing was appended to yet.
  void open(std::unique_ptr<Session> session, std::uint16_t link_session, std::uint32_t epoch);
  /// Plays from `at` on (host time; of no meaning unless paced).
  void start(rig::Nanoseconds at);
  /// Ends playing now: outputs to safe, what was seen is kept, everything may be sent at once. May be repeated.
  void halt(const std::string& why) noexcept;
  /// A flag of the board's own, at the present bench time.
  void flag(rig::RigFlag::Kind kind, const std::string& text, rig::Nanoseconds now);
  /// Forgets the session. REQUIRES: halted, completed or never opened.
  void clear();

  struct Outcome {
    enum class Kind { goes_on, completed, underrun, hold_expired, fault } kind = Kind::goes_on;
    std::string text;
  };
  /// Plays at most one chunk more.
  Outcome run(rig::Nanoseconds now);
  /// When run() should be called next; nothing: when something has come from the host.
  std::optional<rig::Nanoseconds> wake(rig::Nanoseconds now) const;

  /// Time since start, of what the host may know of.
  rig::Nanoseconds bench_now(rig::Nanoseconds now) const;
  bool holding() const { return holding_since_.has_value(); }
  /// The entry that begins the segment that plays; all ones: none does.
  std::uint32_t playing() const { return started_ && !end_ ? queue_.begin_entry(queue_.ended_count()) : kNoEntry; }
  rig::Nanoseconds segment_start() const { return segment_start_; }
  /// How the last session ended; nothing: it has not.
  const std::optional<rig::EndState>& end() const { return end_; }
  /// When a data frame that is due at this bench time may be sent, in host time.
  rig::Nanoseconds host_time(rig::Nanoseconds bench) const { return bench + start_ + held_; }

 private:
  void feed(rig::Nanoseconds now);
  void resume(rig::Nanoseconds now);
  Outcome wait(rig::Nanoseconds now);
  bool may_produce(rig::Nanoseconds now) const;
  Progress produce();
  void drain() noexcept;
  void pass_segments(rig::Nanoseconds now);

  DeviceQueue& queue_;
  DeviceFrames& frames_;
  const rig::Capabilities& bench_;
  bool paced_;
  std::unique_ptr<Session> session_;
  std::optional<DeviceRecorder> recorder_;
  rig::Chunk chunk_;
  bool started_ = false, idle_ = false, finished_ = false;
  rig::Nanoseconds start_{0};                      ///< host time of bench time 0
  rig::Nanoseconds held_{0};                       ///< for how long bench time has stood still since
  rig::Nanoseconds played_to_{0};                  ///< bench time that the session has reached
  std::optional<rig::Nanoseconds> holding_since_;  ///< host time
  std::deque<rig::Nanoseconds> ends_;  ///< of segments that the session has played, until the clock passes them
  rig::Nanoseconds segment_start_{0};
  std::optional<rig::EndState> end_;
};

}  // namespace drivers::board
