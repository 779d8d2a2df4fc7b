#include <algorithm>

#include "drivers/board/board_bench.hpp"
#include "drivers/board/wire_units.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/device_link.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace std::chrono_literals;
using namespace drivers::board;
using Bytes = std::vector<std::uint8_t>;

namespace {

/// The bench file of a board that plays the toy bench.
rig::BenchSetup toy_setup() {
  rig::BenchSetup setup;
  setup.name = "toy";
  setup.driver = "board";
  setup.ports = toy::capabilities().ports;
  return setup;
}

std::unique_ptr<drivers::Bench> over_the_wire(toy::Bench& bench, bool paced) {
  drivers::DeviceSettings settings;
  settings.paced = paced;
  return drivers::open_board(toy_setup(), std::make_unique<DeviceLink>(bench, settings), 5);
}

rig::Exchange ask(Bytes out, std::uint32_t baud = 115200) {
  return {toy::id(toy::service), std::move(out), {0x0D, 0x0A}, 0, 5ms, 2, baud};
}

/// Three conversations in two segments; the toy module echoes what it is sent.
std::vector<rig::Segment> three_questions() {
  rig::Segment one{1, {{2ms, ask({0x55, 0x00, 0xFF})}, {12ms, ask(Bytes(200, 0xAB))}}, {}, 30ms};
  rig::Segment two{2, {{0ms, ask({0x3F})}}, {}, 20ms};
  return {one, two};
}

/// Bytes within a window of the first segment, and throughout.
drivers::SessionPlan windowed_plan() {
  drivers::SessionPlan plan = toy::whole_plan();
  std::erase_if(plan.limits, [](const rig::PortLimit& limit) { return limit.port == toy::id(toy::service); });
  plan.capture.tracks.push_back({toy::id(toy::service), rig::CaptureKind::bytes, 1ms, false, {}});
  return plan;
}
constexpr std::size_t kThroughout = 3, kWindowed = 4;

Bytes bytes_of(const rig::Slice& slice, std::size_t track) {
  return {slice.tracks.at(track).values.begin(), slice.tracks.at(track).values.end()};
}

}  // namespace

TEST_CASE("a conversation comes back over the wire as the bytes of its segment, as from the bench itself",
          "[board][exchange]") {
  const bool paced = GENERATE(false, true);
  CAPTURE(paced);
  toy::Bench near, far;
  auto segments = three_questions();
  segments[0].windows = {{rig::TrackId{kWindowed}, 5ms, 10ms}};
  const auto here = drivers::play(near, windowed_plan(), segments);
  const auto there = drivers::play(*over_the_wire(far, paced), windowed_plan(), segments);
  REQUIRE(there.slices.size() == 2);
  CHECK(there.end.reason == rig::EndState::Reason::completed);
  Bytes both{0x55, 0x00, 0xFF};
  both.insert(both.end(), 200, 0xAB);
  CHECK(bytes_of(there.slices[0], kThroughout) == both);
  CHECK(bytes_of(there.slices[0], kWindowed) == Bytes(200, 0xAB));
  CHECK(bytes_of(there.slices[1], kThroughout) == Bytes{0x3F});
  CHECK(bytes_of(there.slices[1], kWindowed).empty());
  for (std::size_t i = 0; i < 2; ++i) CHECK((there.slices[i] == here.slices[i]));
  CHECK(far.world().exchanged == near.world().exchanged);
}

TEST_CASE("a conversation keeps its terminator, length, time, tries and baud rate on the wire", "[board][exchange]") {
  const rig::Exchange asked = ask({1, 2, 3}, 19200);
  WireMap map;
  map.wire_port = {0, 1, 2, 3, 4, 5, 6, 7};
  map.kind.assign(8, rig::PortKind::service_port);
  std::vector<Entry> entries;
  append_entries(entries, {1, {{2ms, asked}}, {}, 20ms}, map);
  CHECK(std::get<EventEntry>(entries.at(1)) ==
        EventEntry{20'000, toy::service, WireExchange{0, 50'000, 2, {1, 2, 3}, {0x0D, 0x0A}, 19200}});
}

TEST_CASE("what no queue entry can carry is refused in words before anything is sent", "[board][exchange]") {
  toy::Bench bench;
  const auto board = over_the_wire(bench, false);
  const auto most = [&](std::size_t bytes) {
    return drivers::play(*board, windowed_plan(),
                         std::vector<rig::Segment>{{1, {{0ms, ask(Bytes(bytes, 1))}}, {}, 20ms}});
  };
  CHECK(most(223).end.reason == rig::EndState::Reason::completed);
  CHECK_THROWS_WITH(most(224), Catch::Contains("more than 225 bytes"));
}

TEST_CASE("a conversation that can never end, or at no speed, is refused by the board", "[board][exchange][device]") {
  const auto code = [](WireExchange talk) -> std::optional<ErrorCode> {
    talk::Host host;
    host.hello();
    host.load_plan();
    host.queue({SegmentBegin{1, 0, 1'000'000, 0}, EventEntry{0, toy::service, std::move(talk)}});
    const auto error = host.last<Error>();
    return error ? std::optional{error->code} : std::nullopt;
  };
  CHECK_FALSE(code({4, 1000, 0, {1}, {}, 9600}));
  CHECK_FALSE(code({0, 1000, 0, {}, {0x0A}, 9600}));
  CHECK(code({0, 1000, 0, {1}, {}, 9600}) == ErrorCode::out_of_range);
  CHECK(code({4, 1000, 0, {1}, {}, 0}) == ErrorCode::out_of_range);
  CHECK(code({4, ~std::uint64_t{0}, 0, {1}, {}, 9600}) == ErrorCode::out_of_range);
}

TEST_CASE("a board says of a service port that it converses and records bytes", "[board][exchange][device]") {
  talk::Host host;
  host.hello();
  const auto ack = host.last<HelloAck>().value();
  CHECK((ack.set_points & rig::bit(rig::SetPointKind::exchange)) != 0);
  CHECK((ack.captures & rig::bit(rig::CaptureKind::bytes)) != 0);
  const auto page = std::get<Ports>(host.ask(GetPorts{toy::service}));
  CHECK(page.ports.at(0).set_points == rig::bit(rig::SetPointKind::exchange));
  CHECK(page.ports.at(0).captures == rig::bit(rig::CaptureKind::bytes));
  CHECK(page.ports.at(0).safe == SafeState::not_an_output);
}
