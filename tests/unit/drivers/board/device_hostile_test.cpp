#include <random>

#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;

namespace {

using Dice = std::mt19937;
std::uint8_t byte(Dice& dice) { return static_cast<std::uint8_t>(dice()); }

/// A sound frame body that is nearly a message: right numbers, the right session, hostile contents.
std::vector<std::uint8_t> near_message(Dice& dice, const Host& host) {
  std::vector<std::uint8_t> body;
  const auto add = [&](std::uint32_t value, int bytes) {
    for (int i = 0; i < bytes; ++i) body.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
  };
  static const std::uint8_t kNumbers[] = {1,  2,    3,    4,    5,    6,    7,    8,    9,    10,   11,  12,
                                          13, 0x40, 0x40, 0x40, 0x41, 0x41, 0x42, 0x43, 0x44, 0x81, 0xC0};
  const std::uint8_t number = kNumbers[dice() % std::size(kNumbers)];
  add(host.session, 2);
  add(is_command(number) ? host.sequence + 1u : 0u, 2);
  add(number, 1);
  add(0, 1);
  add(dice() % 4 ? host.epoch : dice(), 4);
  const std::size_t length = dice() % 3 == 0 ? dice() % 490 : dice() % 60;
  while (body.size() < 10 + length) body.push_back(dice() % 2 ? byte(dice) : static_cast<std::uint8_t>(dice() % 40));
  return body;
}

}  // namespace

TEST_CASE("no bytes from the wire crash the board", "[board][device][hostile]") {
  const unsigned seed = GENERATE(1u, 2u, 3u, 4u);
  CAPTURE(seed);
  Dice dice{seed};
  Host host;
  host.reach(static_cast<State>(seed % 4));
  for (int i = 0; i < 5000; ++i) {
    std::vector<std::uint8_t> bytes(dice() % 600);
    for (auto& b : bytes) b = dice() % 4 ? byte(dice) : std::uint8_t{0};
    host.device.receive(bytes, host.now);
    if (i % 100 == 0) host.pass(kMs);
    host.heard.clear();
  }
  SUCCEED("still here");
}

TEST_CASE("sound frames with hostile contents neither crash the board nor pass a limit", "[board][device][hostile]") {
  const unsigned seed = GENERATE(range(1u, 9u));
  CAPTURE(seed);
  Dice dice{seed};
  Host host;
  std::size_t played = 0;
  for (int i = 0; i < 20'000; ++i) {
    if (host.device.state() == State::safe && i % 50 == 0) {
      if (host.device.latch() != EndReason::none) host.ask(Acknowledge{host.device.latch()});
      host.sequence = 0;
      host.now += 2000 * kMs;
      host.hello(dice());
      host.queued = 0;
      host.load_plan();
      if (dice() % 2) {
        host.queue(Host::segment(1, 40));
        host.arm();
        host.start();
      }
    }
    const auto body = near_message(dice, host);
    host.put_body(body);
    if (!host.heard.empty() && host.heard.back().sequence != 0) host.sequence = host.heard.back().sequence;
    if (i % 20 == 0) host.pass(kMs);
    played += host.device.state() == State::playing;
    for (const auto& [port, level] : host.bench.world().level) {
      REQUIRE(level >= 0);
      REQUIRE(level <= 16.0);
    }
    if (host.device.state() == State::safe) REQUIRE(host.bench.world().outputs_safe);
    host.heard.clear();
  }
  CHECK(played > 0);
}

TEST_CASE("a host that asks without end and never reads is held to a bound, and cannot keep the board from safe",
          "[board][device][hostile]") {
  Host host;
  host.reach(State::playing);
  const auto frame = drivers::link::encode_frame(encode({host.session, 0, Clock{1}}));
  for (int i = 0; i < 100'000; ++i) host.device.receive(frame, host.now);
  host.now += 250 * kMs;
  host.device.run(host.now);
  CHECK(host.bench.world().outputs_safe);
  std::vector<std::uint8_t> out;
  host.device.send(out, 1u << 30, host.now);
  CHECK(out.size() < 256 * 1024);
}
