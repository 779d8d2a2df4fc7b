#include "drivers/board/port_match.hpp"

#include "drivers/board/device_ports.hpp"
#include "tests/unit/catch.hpp"

using namespace drivers::board;

namespace {

rig::Port sense() {
  rig::Port port;
  port.name = "charge_in";
  port.kind = rig::PortKind::voltage_sense;
  port.high = 6;
  port.captures = rig::bit(rig::CaptureKind::envelope);
  port.skew_error = rig::Nanoseconds{500};
  port.aperture = rig::Nanoseconds{2'000};
  port.leakage = rig::Amperes{5e-9};
  return port;
}

/// What is wrong when the file promises one port and the board has another; empty: nothing.
std::string problem(const rig::Port& file, const rig::Port& board) {
  return port_problem({file}, {describe(board, {}, false)}).value_or("");
}

}  // namespace

TEST_CASE("a board that keeps what the bench file promises is taken", "[board][ports]") {
  CHECK(problem(sense(), sense()).empty());
  rig::Port better = sense();
  better.skew_error = better.aperture = rig::Nanoseconds{1};
  better.leakage = rig::Amperes{0};
  better.low = -1;
  CHECK(problem(sense(), better).empty());
}

TEST_CASE("a board that promises less than the bench file is refused in words", "[board][ports]") {
  rig::Port file = sense(), board = sense();
  SECTION("skew") {
    board.skew_error = rig::Nanoseconds{501};
    CHECK(problem(file, board) == "its port 'charge_in' may be skewed by 501 ns, the bench file says 500 ns at most");
  }
  SECTION("aperture") {
    board.aperture = rig::Nanoseconds{2'001};
    CHECK(problem(file, board) == "its port 'charge_in' looks for 2001 ns, the bench file says 2000 ns at most");
  }
  SECTION("leakage") {
    board.leakage = rig::Amperes{1e-6};
    CHECK(problem(file, board) == "its port 'charge_in' may leak 1e-06 A, the bench file says 5e-09 A at most");
  }
  SECTION("scanned") {
    board.scanned = true;
    CHECK_THAT(problem(file, board), Catch::Contains("shares its converter with others"));
    file.scanned = true;
    CHECK(problem(file, board).empty());
  }
  SECTION("sinking") {
    file.kind = board.kind = rig::PortKind::voltage_source;
    file.captures = 0;
    file.sinks = true;
    CHECK_THAT(problem(file, board), Catch::Contains("takes no current"));
    board.sinks = true;
    CHECK(problem(file, board).empty());
  }
  SECTION("open drain") {
    file.kind = board.kind = rig::PortKind::pulse_source;
    file.captures = 0;
    file.open_drain = true;
    CHECK_THAT(problem(file, board), Catch::Contains("drives both ways"));
  }
}

TEST_CASE("a board of version 1.0, which cannot say, is believed to be as the bench file says", "[board][ports]") {
  rig::Port file = sense();
  PortDescription before = describe(sense(), {}, false);
  before.more.reset();
  before.options = PortDescription::kScanned;  // bits that meant nothing then
  file.sinks = true;
  CHECK_FALSE(port_problem({file}, {before}));
}

TEST_CASE("a temperature sense goes by its name", "[board][ports]") {
  rig::Port file = sense(), board = sense();
  file.kind = rig::PortKind::temperature_sense;
  CHECK(problem(file, board) == "its port 'charge_in' is a voltage sense, the bench file says temperature sense");
}
