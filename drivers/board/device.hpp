#pragma once

#include <cstdint>
#include <optional>
#include <random>
#include <span>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/board/device_frames.hpp"
#include "drivers/board/device_outbox.hpp"
#include "drivers/board/device_plan.hpp"
#include "drivers/board/device_player.hpp"
#include "drivers/board/device_queue.hpp"
#include "drivers/board/device_sequence.hpp"
#include "drivers/board/messages.hpp"
#include "drivers/link/crc32c.hpp"
#include "drivers/link/frame.hpp"
#include "rig/core/wheel.hpp"

namespace drivers {

struct DeviceSettings {
  /// True: bench time runs with host time, at the link's pace. False: as fast as the host takes the readings, with no
  /// latency and no pace; the heartbeat's lease stays in host time either way.
  bool paced = true;
  std::uint32_t baud = 3'000'000;             ///< of what the board sends; 0: no pace
  rig::Nanoseconds reply_latency{1'000'000};  ///< of replies and statuses
  std::uint32_t queue_entries = 4096, queue_bytes = 128 * 1024;
  std::uint32_t resend_bytes = 4 * 1024 * 1024;  ///< of data frames kept until the host has them
  std::uint32_t random = 1;                      ///< seeds the boot number and the session numbers
  std::optional<rig::Wheel> wheel;               ///< the bench's own: a host that loads another is refused
  std::vector<rig::PortId> closed_at_rest;       ///< relays whose safe state is closed
};

/// The board's own side of PROTOCOL.md, played on any bench. A pure state machine: it is handed bytes and the time, and
/// hands out bytes and when it wants to be called again. It reads no clock and no port.
///
/// Every `now` is host time since power-on and never goes back. All that the host has sent is to be handed to receive()
/// before run() is called, so that a late wake does not look like a missing heartbeat.
class Device {
 public:
  Device(Bench& bench, DeviceSettings settings);
  ~Device();
  Device(const Device&) = delete;
  Device& operator=(const Device&) = delete;

  /// Bytes from the host, as they come.
  void receive(std::span<const std::uint8_t> bytes, rig::Nanoseconds now);
  /// Lets time pass: watches the lease, plays at most one chunk more.
  void run(rig::Nanoseconds now);
  /// Appends whole frames that are due to `out`, until it holds `most` bytes or more.
  void send(std::vector<std::uint8_t>& out, std::size_t most, rig::Nanoseconds now);
  /// When run() wants to be called next if nothing comes from the host.
  std::optional<rig::Nanoseconds> wake(rig::Nanoseconds now) const;
  /// When send() has something next.
  std::optional<rig::Nanoseconds> send_wake(rig::Nanoseconds now) const;

  /// The host has gone (the cable was pulled): outputs to safe, the session ends, what was not sent is lost.
  void disconnect(rig::Nanoseconds now);
  void set_interlock(bool closed, rig::Nanoseconds now);

  board::State state() const { return state_; }
  board::EndReason latch() const { return latch_; }
  board::EndReason last_end() const { return last_end_; }
  /// As the bench has confirmed it.
  bool outputs_safe() const;

 private:
  using Reply = std::variant<board::Message, board::Refusal>;
  struct Command {  ///< a command's payload as it came: the digest runs over it
    std::span<const std::uint8_t> payload;
    rig::Nanoseconds now;
  };

  // device.cpp: sessions, frames in and out, time
  void take_frame(std::span<const std::uint8_t> body, rig::Nanoseconds now);
  void take_hello(const board::Hello& hello, rig::Nanoseconds now);
  void take_command(std::uint8_t number, const board::Packet& packet, std::span<const std::uint8_t> payload,
                    rig::Nanoseconds now);
  void take_uncounted(const board::Packet& packet, std::span<const std::uint8_t> payload, rig::Nanoseconds now);
  void answer(std::uint16_t sequence, board::Message message, rig::Nanoseconds now);
  void post(board::Message message, rig::Nanoseconds now);
  void post_error(std::uint8_t about, const board::Refusal& refusal, rig::Nanoseconds now);
  void announce(rig::Nanoseconds now);
  void post_status(rig::Nanoseconds now);
  board::Error error(std::uint8_t about, const board::Refusal& refusal) const;
  board::HelloAck hello_ack(const board::Hello& hello, rig::Nanoseconds now) const;
  board::Status status(rig::Nanoseconds now) const;
  void end_session();
  void end_epoch(board::EndReason reason, const std::string& why, rig::Nanoseconds now);
  void trip(board::EndReason reason, const std::string& why, rig::Nanoseconds now);
  std::uint64_t board_time(rig::Nanoseconds now) const;

  // device_commands.cpp: what each command does
  Reply carry_out(const board::Message& message, const Command& command);
  Reply carry_out(const board::GetPorts& m, const Command&);
  Reply carry_out(const board::Load& m, const Command&);
  template <class Part>
  Reply load_part(const Part& part, const Command& command);
  Reply carry_out(const board::Plan& m, const Command& command);
  Reply carry_out(const board::Arm& m, const Command& command);
  Reply carry_out(const board::Start& m, const Command& command);
  Reply carry_out(const board::Advance& m, const Command& command);
  Reply carry_out(const board::Acknowledge& m, const Command&);
  Reply carry_out(const board::Bye& m, const Command& command);
  void take_queue(const board::Queue& frame, std::span<const std::uint8_t> payload, rig::Nanoseconds now);
  void take_unreadable_queue(std::span<const std::uint8_t> payload, rig::Nanoseconds now);
  std::optional<board::Refusal> refuse_unless(board::State state, std::uint32_t epoch) const;
  std::optional<board::Refusal> refuse_unless(board::State state) const;

  Bench& bench_;
  DeviceSettings settings_;
  std::minstd_rand random_;
  std::uint32_t boot_;

  link::FrameDecoder decoder_;
  board::DeviceOutbox outbox_;
  std::uint16_t session_ = 0;  ///< 0: none
  std::uint32_t host_ = 0;
  std::vector<std::uint8_t> hello_reply_;
  board::DeviceSequence sequence_;
  rig::Nanoseconds last_heard_{0};  ///< last valid frame of the session

  board::State state_ = board::State::safe;
  board::EndReason latch_{}, last_end_{};
  bool interlock_closed_ = true;
  std::uint32_t epoch_ = 0;
  board::DevicePlan plan_;
  board::DeviceQueue queue_;
  board::DeviceFrames frames_;
  board::DevicePlayer player_;
  link::Crc32c digest_;
  rig::Nanoseconds lease_from_{0};
  std::uint64_t unpaced_time_ = 0;  ///< board time before the present start, in ticks

  struct Told {  ///< what the last status said
    board::State state{};
    board::EndReason latch{};
    std::uint32_t playing = board::kNoEntry;
    friend bool operator==(const Told&, const Told&) = default;
  };
  Told told_;
};

}  // namespace drivers
