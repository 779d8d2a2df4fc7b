#pragma once

#include <algorithm>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "drivers/board/device.hpp"
#include "tests/unit/drivers/board/toy_bench.hpp"

/// A host made by hand, that speaks to a Device without any port or clock: for the tests of the board's own side.
namespace talk {

using namespace drivers::board;
constexpr rig::Nanoseconds kMs{1'000'000};

inline drivers::DeviceSettings unpaced() {
  drivers::DeviceSettings settings;
  settings.paced = false;
  return settings;
}

class Host {
 public:
  explicit Host(drivers::DeviceSettings settings = unpaced()) : device{bench, std::move(settings)} {}

  /// Sends a message as it is and takes in whatever comes at once.
  void put(const Packet& packet) { put_body(encode(packet)); }
  void put_body(std::span<const std::uint8_t> body) {
    const auto coded = drivers::link::encode_frame(body);
    device.receive(coded, now);
    listen();
  }
  void put(Message message) { put({session, 0, std::move(message)}); }
  /// Sends a command and hands back its reply. REQUIRES: the board has no latency.
  Message ask(Message message) {
    sequence = sequence == 0xFFFF ? 1 : static_cast<std::uint16_t>(sequence + 1);
    put({session, sequence, std::move(message)});
    for (auto it = heard.rbegin(); it != heard.rend(); ++it)
      if (it->sequence == sequence) return it->message;
    return Unsupported{0xFF};  // nothing came
  }
  /// The error code of a reply; nothing: it is no error.
  static std::optional<ErrorCode> code(const Message& message) {
    const auto* const error = std::get_if<Error>(&message);
    return error ? std::optional{error->code} : std::nullopt;
  }
  std::optional<ErrorCode> refused(Message message) { return code(ask(std::move(message))); }
  void listen() {
    std::vector<std::uint8_t> out;
    device.send(out, 1 << 20, now);
    decoder.take(out, [&](std::span<const std::uint8_t> body) {
      auto decoded = decode(body);
      if (auto* const packet = std::get_if<Packet>(&decoded)) heard.push_back(std::move(*packet));
    });
  }
  /// Lets time pass a millisecond at a time, with a heartbeat every 50 ms if asked for.
  void pass(rig::Nanoseconds time, bool beating = true) {
    for (const rig::Nanoseconds end = now + time; now < end;) {
      now += kMs;
      if (beating && now % (50 * kMs) == rig::Nanoseconds{0}) beat();
      device.run(now);
      listen();
    }
  }
  void beat() { put(Heartbeat{epoch, wanted()}); }
  /// Lets the board play (at most a second of host time) until it is safe.
  void play_out() {
    for (int i = 0; i < 1000 && device.state() == State::playing; ++i) pass(kMs);
    pass(kMs);
  }

  template <class T>
  std::vector<T> all() const {
    std::vector<T> found;
    for (const Packet& packet : heard)
      if (const auto* const message = std::get_if<T>(&packet.message)) found.push_back(*message);
    return found;
  }
  template <class T>
  std::optional<T> last() const {
    for (auto it = heard.rbegin(); it != heard.rend(); ++it)
      if (const auto* const message = std::get_if<T>(&it->message)) return *message;
    return {};
  }
  Status status() {
    beat();
    return last<Status>().value_or(Status{});
  }
  /// Number of the first data frame that has not come.
  std::uint32_t wanted() const {
    std::uint32_t next = 0;
    for (const Packet& packet : heard) {
      if (const auto* const b = std::get_if<Blocks>(&packet.message); b && b->epoch == epoch)
        next = std::max(next, b->number + 1);
      if (const auto* const r = std::get_if<Record>(&packet.message); r && r->epoch == epoch)
        next = std::max(next, r->number + 1);
      if (const auto* const f = std::get_if<Flag>(&packet.message); f && f->epoch == epoch)
        next = std::max(next, f->number + 1);
    }
    return next;
  }

  void hello(std::uint32_t host = 77) {
    put({0, 0, Hello{host, 1, 1, 0}});
    const Packet& packet = heard.back();
    if (std::holds_alternative<HelloAck>(packet.message)) session = packet.session, sequence = 0;
  }
  void load() {
    const Message reply = ask(Load{});
    if (const auto* const ack = std::get_if<LoadAck>(&reply)) epoch = ack->epoch;
  }
  std::vector<WireLimit> limits() const {
    return {{toy::battery, 0, 16'000'000, 2'000'000, 0},
            {toy::source, 0, 5'200'000, 10'000, 0},
            {toy::pulses, 0, 12'000'000, 0, 0},
            {toy::relay, 0, 1, 0, 0}};
  }
  std::vector<WireTrack> tracks() const {
    return {{toy::sense, 1, WireTrack::kThroughout, 10'000, 0, 0, 0},
            {toy::sense, 0, 0, 1'000, 0, 0, 0},
            {toy::edges, 2, WireTrack::kThroughout, 0, 0, 0, 0},
            {toy::service, 4, WireTrack::kThroughout, 0, 0, 0, 0}};
  }
  void load_plan() {
    load();
    ask(Limits{epoch, limits()});
    ask(Plan{epoch, 0, tracks()});
  }
  /// Puts these entries into the queue, in frames that fit.
  void queue(const std::vector<Entry>& entries) {
    for (std::size_t i = 0; i < entries.size(); i += 6) {
      const std::size_t end = std::min(entries.size(), i + 6);
      put(Queue{
          epoch,
          queued,
          {entries.begin() + static_cast<std::ptrdiff_t>(i), entries.begin() + static_cast<std::ptrdiff_t>(end)}});
      queued += static_cast<std::uint32_t>(end - i);
    }
  }
  void arm() { ask(Arm{epoch}); }
  void start() { ask(Start{epoch, 0}); }
  /// The ways into the states of the table.
  void reach(State state) {
    hello();
    if (state == State::safe) return;
    load_plan();
    queued = 0;
    queue(segment(1, 300));
    if (state == State::loaded) return;
    arm();
    if (state == State::armed) return;
    start();
  }
  /// A segment of that many milliseconds that sets the battery and the source.
  static std::vector<Entry> segment(std::uint32_t id, std::uint64_t ms) {
    return {SegmentBegin{id, 0, ms * 10'000, 0}, EventEntry{0, toy::battery, StepTo{13'800'000}},
            EventEntry{0, toy::source, StepTo{2'500'000}}, SegmentEndEntry{id}};
  }

  toy::Bench bench;
  drivers::Device device;
  drivers::link::FrameDecoder decoder;
  rig::Nanoseconds now{1'000'000'000};
  std::uint16_t session = 0, sequence = 0;
  std::uint32_t epoch = 0, queued = 0;
  std::vector<Packet> heard;
};

}  // namespace talk
