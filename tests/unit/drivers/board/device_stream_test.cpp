#include <algorithm>

#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"
#include "tests/unit/drivers/board/wire_bench.hpp"

// What the readings of a run cost on the link, and that the board keeps up with them.

using namespace talk;

namespace {

constexpr double kLink = 300'000;  ///< bytes a second at 3 Mbaud

struct Streamed {
  double bytes_per_second = 0;
  std::size_t readings = 0;
  rig::Nanoseconds latest{0};  ///< most that a block's first reading was old when the block came
};

/// A paced board with the emulated bench behind it, and a host that loads and then only listens.
class Stream {
 public:
  explicit Stream(std::uint32_t baud) : bench_{wire::emulated()}, device_{*bench_, settings(baud)} {
    put({0, 0, Hello{77, 1, 1, 0}});
    session_ = heard_.session;
    epoch_ = std::get<LoadAck>(ask(Load{})).epoch;
  }
  /// Plays a second of so many envelopes of 1 ms throughout, and tracks of a sample every 100 us in one window of it.
  Streamed play(std::size_t envelopes, std::size_t fine) {
    const std::uint16_t first = sample::charge_in, senses = 8;
    std::vector<Entry> entries{SegmentBegin{1, 0, 10'000'000, 0}};
    for (std::size_t i = 0; i < envelopes + fine; ++i) {
      const auto number = static_cast<std::uint16_t>(i);
      const auto port = static_cast<std::uint16_t>(first + i % senses);
      const bool throughout = i < envelopes;
      ask(Plan{epoch_, number, {{port, throughout, throughout, throughout ? 10'000u : 1'000u, 0, 0, 0}}});
      if (!throughout) entries.push_back(WindowEntry{number, 0, kForever});
    }
    entries.push_back(SegmentEndEntry{1});
    entries.push_back(EndOfTimeline{0});
    put({session_, 0, Queue{epoch_, 0, entries}});
    ask(Arm{epoch_});
    ask(Start{epoch_, 0});
    const rig::Nanoseconds began = now_;
    bytes_ = 0;
    while (device_.state() == State::playing) {
      now_ += kMs;
      if (now_ % (50 * kMs) == rig::Nanoseconds{0}) put({session_, 0, Heartbeat{epoch_, 0}});
      device_.run(now_);
      listen(began);
    }
    streamed_.bytes_per_second = static_cast<double>(bytes_) / rig::seconds(now_ - began);
    return streamed_;
  }

 private:
  static drivers::DeviceSettings settings(std::uint32_t baud) {
    drivers::DeviceSettings settings;
    settings.reply_latency = rig::Nanoseconds{0};
    settings.baud = baud;
    return settings;
  }
  void put(const Packet& packet) {
    device_.receive(drivers::link::encode_frame(encode(packet)), now_);
    listen(now_);
  }
  Message ask(Message message) {
    put({session_, ++sequence_, std::move(message)});
    for (int ms = 0; heard_.sequence != sequence_ && ms < 100; ++ms) now_ += kMs, listen(now_);
    return heard_.message;
  }
  void listen(rig::Nanoseconds began) {
    std::vector<std::uint8_t> out;
    device_.send(out, 1 << 20, now_);
    bytes_ += out.size();
    decoder_.take(out, [&](std::span<const std::uint8_t> body) {
      auto decoded = decode(body);
      auto* const packet = std::get_if<Packet>(&decoded);
      if (!packet) return;
      if (const auto* const blocks = std::get_if<Blocks>(&packet->message)) return take(*blocks, began);
      if (!std::holds_alternative<Status>(packet->message)) heard_ = std::move(*packet);
    });
  }
  void take(const Blocks& frame, rig::Nanoseconds began) {
    for (const WireBlock& block : frame.blocks) {
      streamed_.readings += block.count;
      streamed_.latest = std::max(streamed_.latest, now_ - began - rig::Nanoseconds{block.first * 100});
    }
  }

  std::unique_ptr<drivers::Bench> bench_;
  drivers::Device device_;
  drivers::link::FrameDecoder decoder_;
  rig::Nanoseconds now_{1'000'000'000};
  std::uint16_t session_ = 0, sequence_ = 0;
  std::uint32_t epoch_ = 0;
  Packet heard_;
  std::size_t bytes_ = 0;
  Streamed streamed_;
};

}  // namespace

TEST_CASE("twenty envelopes and four tracks of a sample every 100 us go over 3 Mbaud as they are read",
          "[board][device]") {
  const Streamed streamed = Stream{3'000'000}.play(20, 4);
  INFO(streamed.bytes_per_second << " bytes a second");
  CHECK(streamed.readings >= 20 * 990 + 4 * 9'900);  // the last of them come once the board is safe
  CHECK(streamed.bytes_per_second < kLink);
  CHECK(streamed.latest <= 15 * kMs);  // 5 ms of waiting, 5 ms on the line, and what the test's own steps take
}

TEST_CASE("a block waits 5 ms at most for its last reading", "[board][device]") {
  CHECK(Stream{0}.play(20, 0).latest <= 7 * kMs);  // and the millisecond that this test calls the board in
  CHECK(Stream{0}.play(20, 4).latest <= 7 * kMs);
}
