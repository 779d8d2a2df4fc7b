#pragma once

#include <cstdint>
#include <deque>
#include <functional>
#include <map>
#include <string>
#include <vector>

#include "drivers/board/messages.hpp"
#include "drivers/link/byte_link.hpp"
#include "drivers/link/crc32c.hpp"
#include "drivers/link/frame.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::board {

/// What becomes of a frame on its way.
enum class Fate { arrives, lost, damaged, doubled };

/// A rig board of the simplest kind, with the wire to it, on a clock of its own: it plays segments by their lengths,
/// streams envelopes of 1 ms with values that the test gives, and leaves `until` to the host. Frames meet the fates
/// that the test decides on. Nothing here waits.
class ScriptedBoard : public link::ByteLink {
 public:
  static constexpr std::uint32_t kTickRate = 10'000'000;
  static constexpr std::uint64_t kBin = 10'000;

  // What a test may change.
  HelloAck hello;
  std::vector<PortDescription> ports;
  rig::Nanoseconds latency{500'000};  ///< of everything the board sends
  rig::Nanoseconds data_latency{0};   ///< of data frames, on top; statuses then do not count those that wait
  std::function<Fate(const Message&)> to_board = [](const Message&) { return Fate::arrives; };
  std::function<Fate(const Message&)> to_host = [](const Message&) { return Fate::arrives; };
  std::function<std::int32_t(unsigned track, std::uint64_t tick)> code = [](unsigned, std::uint64_t) { return 1000; };
  std::map<std::uint8_t, Error> refuse;  ///< by command number
  bool keeps_frames = true;              ///< for resend
  bool unplugged = false, mute = false;
  bool plays = true;  ///< false: its time stands still while playing

  // What a test may look at.
  std::map<std::uint8_t, int> received;  ///< frames by message number, repeats included
  std::vector<Entry> entries;            ///< accepted
  std::uint32_t most_held = 0;           ///< entries held at once
  bool overrun = false;                  ///< the host sent more than was free
  std::vector<std::uint32_t> advanced;
  std::string stopped_because;
  State state = State::safe;
  EndReason latch{}, last_end{};

  ScriptedBoard();
  const std::string& name() const override { return name_; }
  rig::Nanoseconds now() const override { return now_; }
  void write(std::span<const std::uint8_t> bytes) override;
  std::span<const std::uint8_t> read(rig::Nanoseconds deadline) override;
  void write_now(std::span<const std::uint8_t> bytes) noexcept override {
    if (!unplugged) write(bytes);
  }
  void wake() noexcept override {}
  void pass(rig::Nanoseconds time) { now_ += time; }
  void trip(EndReason reason);
  /// Damaged frames that come of themselves.
  void noise(int frames);

 private:
  struct Playing {
    SegmentBegin begin;
    std::uint32_t entry = 0, entries = 0, bytes = 0;
  };
  void take(const Packet& packet);
  Message answer(const Message& command);
  void load_payload(const Message& command);
  void queue(const Queue& frame);
  void send(std::uint16_t sequence, const Message& message);
  void send_coded(std::vector<std::uint8_t> bytes, rig::Nanoseconds more = {}) {
    outgoing_.emplace(now_ + latency + more, std::move(bytes));
  }
  void send_data(Message message);
  void play_until(rig::Nanoseconds time);
  void play_bin();
  void end_segment(std::uint8_t reason);
  void end_epoch(EndReason reason);
  Status status() const;
  std::uint64_t ticks(rig::Nanoseconds t) const { return static_cast<std::uint64_t>(t.count() / 100); }

  std::string name_ = "/dev/scripted";
  rig::Nanoseconds now_{1'000'000'000};
  link::FrameDecoder decoder_;
  std::multimap<rig::Nanoseconds, std::vector<std::uint8_t>> outgoing_;
  std::vector<std::uint8_t> handed_;
  std::uint16_t expected_ = 1;
  std::map<std::uint16_t, Message> replies_;
  std::vector<std::uint8_t> loaded_, entry_bytes_;
  std::vector<WireTrack> tracks_;
  std::uint32_t epoch_ = 0, held_entries_ = 0, held_bytes_ = 0;
  std::deque<Playing> segments_;
  std::optional<Playing> taking_;
  bool end_queued_ = false, announced_ = false;
  rig::Nanoseconds start_{0}, last_beat_{0};
  std::uint64_t played_ = 0, segment_start_ = 0;
  std::uint32_t playing_entry_ = kNoEntry, data_ = 0;
  std::vector<std::uint16_t> blocks_;
  std::map<std::uint32_t, Message> kept_;
};

/// A bench file's setup for such a board.
rig::BenchSetup scripted_setup();

}  // namespace drivers::board
