#include <cstdlib>
#include <string>

#include "drivers/board/board_bench.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;

// Against a board in another process, written from the page alone (tests/system/third_board), which third_board_test.py
// starts and names in PROOFSTAND_DEVICE. Hidden: they need that board.
namespace {

enum : std::uint16_t { kService, kBattery, kIsolator, kAmbient, kGround, kBatterySense };

rig::Port port(const char* name, rig::PortKind kind, double low, double high) {
  rig::Port made;
  made.name = name, made.kind = kind, made.low = low, made.high = high;
  return made;
}

std::unique_ptr<drivers::Bench> open_board(double leakage = 1e-9) {
  const char* device = std::getenv("PROOFSTAND_DEVICE");
  REQUIRE(device);
  rig::BenchSetup setup;
  setup.name = "third";
  setup.driver = "board";
  setup.device = device;
  setup.ports = {port("service", rig::PortKind::service_port, 0, 0),
                 port("battery", rig::PortKind::supply, 0, 20),
                 port("isolator", rig::PortKind::relay, 0, 0),
                 port("ambient", rig::PortKind::temperature_sense, -20, 80),
                 port("ground_sense", rig::PortKind::voltage_sense, -0.5, 0.5),
                 port("battery_sense", rig::PortKind::voltage_sense, 0, 20)};
  setup.ports[kGround].skew_error = 1us;
  setup.ports[kGround].aperture = 2us;
  setup.ports[kGround].leakage = rig::Amperes{leakage};
  return drivers::open_board(setup);
}

drivers::SessionPlan plan() {
  drivers::SessionPlan made;
  made.capture.tracks = {{rig::PortId{kService}, rig::CaptureKind::bytes, 1ms, true, {}},
                         {rig::PortId{kAmbient}, rig::CaptureKind::envelope, 1ms, true, {}},
                         {rig::PortId{kGround}, rig::CaptureKind::envelope, 1ms, true, {}},
                         {rig::PortId{kService}, rig::CaptureKind::bytes, 1ms, false, {}}};
  made.limits = {{rig::PortId{kBattery}, 0, 16, rig::Amperes{1}, 0},
                 {rig::PortId{kIsolator}, 0, 1, rig::Amperes{0}, 0}};
  return made;
}

rig::Event ask(rig::Nanoseconds at, const std::string& question, std::uint32_t baud = 115200, int retries = 1) {
  return {at, rig::Exchange{
                  rig::PortId{kService}, {question.begin(), question.end()}, {'\r', '\n'}, 0, 50ms, retries, baud}};
}

std::string said(const rig::Slice& slice, std::size_t track = 0) {
  return {slice.tracks[track].values.begin(), slice.tracks[track].values.end()};
}

/// Off, on, on with a window that opens late, on for a question of bytes by length.
std::vector<rig::Segment> conversation() {
  rig::Segment off{1, {ask(0ms, "?serial\r", 115200, 0)}, {}, 100ms};
  rig::Segment on{2,
                  {{0ms, rig::SetRelay{rig::PortId{kIsolator}, true}},
                   {0ms, rig::SetOutput{rig::PortId{kBattery}, rig::Volts{13.8}}},
                   ask(20ms, "?serial\r"),
                   ask(150ms, "?firmware\r", 19200)},
                  {{rig::TrackId{3}, 140ms, std::nullopt}},
                  300ms};
  rig::Segment raw{3, {{0ms, rig::Exchange{rig::PortId{kService}, {1, 0, 255}, {}, 4, 50ms, 0, 9600}}}, {}, 100ms};
  return {off, on, raw};
}

}  // namespace

TEST_CASE("a module answers over an independent board's service port, byte for byte", "[.independent][answers]") {
  const auto bench = open_board();
  CHECK(bench->capabilities().set_points & rig::bit(rig::SetPointKind::exchange));
  const auto played = drivers::play(*bench, plan(), conversation());
  REQUIRE(played.end.reason == rig::EndState::Reason::completed);
  REQUIRE(played.slices.size() == 3);
  CHECK(said(played.slices[0]).empty());
  CHECK(said(played.slices[1]) == "serial T00001\r\nfirmware 5f1d22c09a37\r\n");
  CHECK(said(played.slices[1], 3) == "firmware 5f1d22c09a37\r\n");
  CHECK(played.slices[2].tracks[0].values == std::vector<std::int32_t>{0, 255, 0, 1});
  const auto ambient = rig::envelope_bin(played.tracks[1], played.slices[1].tracks[1], 100);
  CHECK(ambient.mean == Approx(23.4).margin(0.01));
  const auto ground = rig::envelope_bin(played.tracks[2], played.slices[1].tracks[2], 100);
  CHECK(ground.mean > 0.0005);
}

TEST_CASE("an answer cut short is asked for again, and all that came is there", "[.independent][stammer]") {
  const auto played = drivers::play(*open_board(), plan(), conversation());
  REQUIRE(played.slices.size() == 3);
  CHECK(said(played.slices[1]) == "serial T00001\rserial T00001\r\nfirmware 5f1d22c09a37\rfirmware 5f1d22c09a37\r\n");
}

TEST_CASE("an independent board that promises less than the bench file is refused in words",
          "[.independent][promise]") {
  CHECK_THROWS_WITH(open_board(),
                    Catch::Contains("its port 'ground_sense' may leak 2e-06 A, the bench file says 1e-09"));
  CHECK_NOTHROW(open_board(3e-6));
}

namespace {

/// The battery's sense, around an event: by a threshold either way, and at a window's start. Two samples a millisecond.
drivers::SessionPlan around_events() {
  const auto track = [](std::optional<double> volts, bool rising) {
    rig::Trigger trigger{{}, rising, 2ms, 3ms};
    if (volts) trigger.threshold = rig::Volts{*volts};
    return rig::Track{rig::PortId{kBatterySense}, rig::CaptureKind::triggered, 500us, false, trigger};
  };
  drivers::SessionPlan made;
  made.capture.tracks = {track(6.0, true), track(9.9, false), track({}, true)};
  made.limits = {{rig::PortId{kBattery}, 0, 16, rig::Amperes{1}, 0}};
  return made;
}

/// The battery comes on at 20 ms; then falls by 0.1 V a millisecond from 13.8 to 8.8 V.
std::vector<rig::Segment> on_and_down() {
  const rig::PortId battery{kBattery};
  const rig::Window rise{rig::TrackId{0}, 2ms, std::nullopt}, fall{rig::TrackId{1}, 2ms, std::nullopt};
  return {{1, {{20ms, rig::SetOutput{battery, rig::Volts{13.8}}}}, {rise, fall, {rig::TrackId{2}, 10ms, 1ms}}, 40ms},
          {2, {{0ms, rig::RampOutput{battery, rig::Volts{8.8}, 50ms}}}, {rise, fall}, 40ms},
          {3, {}, {}, 40ms}};
}

std::vector<double> volts_of(const drivers::Played& played, std::size_t segment, std::size_t track) {
  std::vector<double> volts;
  for (const std::int32_t code : played.slices[segment].tracks[track].values)
    volts.push_back(code * played.tracks[track].scale + played.tracks[track].offset);
  return volts;
}

}  // namespace

TEST_CASE("an independent board captures what lies around an event, and tells nothing where there was none",
          "[.independent][triggered]") {
  const auto bench = open_board();
  REQUIRE(bench->capabilities().ports[kBatterySense].captures & bit(rig::CaptureKind::triggered));
  const auto played = drivers::play(*bench, around_events(), on_and_down());
  REQUIRE(played.end.reason == rig::EndState::Reason::completed);
  REQUIRE(played.slices.size() == 3);
  SECTION("a rising threshold: the step is the fifth of ten samples") {
    const auto volts = volts_of(played, 0, 0);
    REQUIRE(volts.size() == 10);
    CHECK(played.slices[0].tracks[0].first == rig::BenchTime{18ms});
    for (std::size_t i = 0; i < volts.size(); ++i) CHECK(volts[i] == Approx(i < 4 ? 0 : 13.8).margin(0.01));
    CHECK(volts_of(played, 1, 0).empty());  // it stands above the threshold from the start
  }
  SECTION("a falling one, in a ramp that runs on through the segment's end: 9.9 V at 39 ms") {
    CHECK(volts_of(played, 0, 1).empty());
    const auto volts = volts_of(played, 1, 1), rest = volts_of(played, 2, 1);
    CHECK(played.slices[1].tracks[1].first == rig::BenchTime{40ms + 37ms});
    REQUIRE(volts.size() == 6);  // until the segment ends
    REQUIRE(rest.size() == 4);   // and what `after` still wants, in the next
    for (std::size_t i = 0; i < 10; ++i)
      CHECK((i < 6 ? volts[i] : rest[i - 6]) == Approx(13.8 - 0.1 * (37 + 0.5 * static_cast<double>(i))).margin(0.01));
  }
  SECTION("a window's own start") {
    CHECK(volts_of(played, 0, 2).size() == 10);
    CHECK(played.slices[0].tracks[2].first == rig::BenchTime{8ms});
    CHECK(volts_of(played, 1, 2).empty());
  }
}
