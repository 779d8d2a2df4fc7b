#include "drivers/board/board_bench.hpp"

#include <chrono>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/scripted_board.hpp"

using namespace std::chrono_literals;
using namespace drivers::board;

namespace {

/// Opens a board that was prepared by the test; the fault's text, or "opened".
std::string open_prepared(const std::function<void(ScriptedBoard&)>& prepare,
                          rig::BenchSetup setup = scripted_setup()) {
  auto board = std::make_unique<ScriptedBoard>();
  prepare(*board);
  try {
    drivers::open_board(setup, std::move(board), 99);
  } catch (const rig::RigFault& fault) {
    return fault.what();
  }
  return "opened";
}

}  // namespace

TEST_CASE("a bench that does not answer is named, with what to do", "[board][bench]") {
  CHECK(
      open_prepared([](ScriptedBoard& board) { board.mute = true; }) ==
      "the board on /dev/scripted: it did not answer hello in 250 ms, 4 times. Check its power and cable, and that the "
      "bench file names its port and baud rate");
}

TEST_CASE("a board that lacks a port of the bench file is refused by the port's name", "[board][bench]") {
  auto setup = scripted_setup();
  setup.ports[0].name = "charge_in";
  CHECK_THAT(open_prepared([](ScriptedBoard&) {}, setup), Catch::Contains("it has no port 'charge_in'"));
}

TEST_CASE("a port of another kind is refused by name and kinds", "[board][bench]") {
  auto setup = scripted_setup();
  setup.ports[1].kind = rig::PortKind::supply;
  CHECK_THAT(open_prepared([](ScriptedBoard&) {}, setup),
             Catch::Contains("its port 'source' is a voltage source, the bench file says supply"));
}

TEST_CASE("a port of a narrower range or with fewer captures is refused", "[board][bench]") {
  auto setup = scripted_setup();
  setup.ports[1].high = 12;
  setup.ports[0].captures |= rig::bit(rig::CaptureKind::samples);
  const std::string fault = open_prepared([](ScriptedBoard&) {}, setup);
  CHECK_THAT(fault, Catch::Contains("its port 'source' covers 0 to 5, the bench file says 0 to 12"));
  CHECK_THAT(fault, Catch::Contains("its port 'sense' does not offer every capture"));
}

TEST_CASE("a board of another version is refused in its own words", "[board][bench]") {
  const auto refuse = [](ScriptedBoard& board) { board.hello.major = 2; };
  CHECK_THAT(open_prepared(refuse), Catch::Contains("it speaks version 2 of the protocol, this program version 1"));
}

TEST_CASE("the board's clock, queue and features are the bench's capabilities", "[board][bench]") {
  auto board = std::make_unique<ScriptedBoard>();
  const auto bench = drivers::open_board(scripted_setup(), std::move(board), 99);
  const rig::Capabilities& can = bench->capabilities();
  CHECK(can.identity == "scripted board");
  CHECK(can.queue_entries == 1024);
  CHECK(can.tick_rate == 10'000'000);
  CHECK(can.tick_tolerance_ppm == 50);
  CHECK(can.grid == 1ms);
  CHECK(can.has(rig::Feature::paced));
  CHECK_FALSE(can.has(rig::Feature::until_on_bench));
  REQUIRE(can.ports.size() == 2);
  CHECK(can.ports[0].name == "sense");  // in the file's order
}

TEST_CASE("a refusal to load is told in the board's words", "[board][bench]") {
  auto board = std::make_unique<ScriptedBoard>();
  board->refuse[Limits::kNumber] =
      Error{Limits::kNumber, ErrorCode::out_of_range, State::loaded, 1, "source goes to 5 V only"};
  const auto bench = drivers::open_board(scripted_setup(), std::move(board), 99);
  drivers::SessionPlan plan;
  plan.limits = {{rig::PortId{1}, 0, 9, {}, 0}};
  CHECK_THROWS_WITH(bench->open(plan), Catch::Contains("it refused to take the limits of this run") &&
                                           Catch::Contains("source goes to 5 V only"));
}

TEST_CASE("a board that has loaded something else than was sent is never started", "[board][bench]") {
  auto link = std::make_unique<ScriptedBoard>();
  ScriptedBoard& board = *link;
  const auto bench = drivers::open_board(scripted_setup(), std::move(link), 99);
  drivers::SessionPlan plan;
  plan.limits = {{rig::PortId{1}, 0, 5, {}, 0}};
  const std::vector<rig::Segment> segments{{0, {}, {}, 50ms}};
  const auto session = bench->open(plan);
  board.entries.clear();
  board.to_board = [&](const Message& message) {
    if (std::holds_alternative<Arm>(message)) board.entries.pop_back();
    return Fate::arrives;
  };
  CHECK_THROWS_WITH(session->append(segments), Catch::Contains("what it has loaded is not what was sent to it"));
  CHECK(board.received[Start::kNumber] == 0);
}

TEST_CASE("a setup without a device is refused in words", "[board][bench]") {
  auto setup = scripted_setup();
  setup.device.clear();
  CHECK_THROWS_WITH(drivers::open_board(setup), Catch::Contains("names no serial port"));
}
