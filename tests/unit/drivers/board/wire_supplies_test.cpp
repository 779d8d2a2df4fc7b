#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/wire_bench.hpp"

// Supplies on their way, and drives of thousands of set-points, over the wire as played directly.

using namespace std::chrono_literals;

namespace {

constexpr double kVoltsPerSecond = 1000;

/// The battery goes no faster than 1 V/ms. Its sense is looked at closely in windows.
drivers::SessionPlan slewed_plan() {
  drivers::SessionPlan plan = wire::plan();
  for (rig::PortLimit& limit : plan.limits)
    if (limit.port == sample::port(sample::battery)) limit.slew_per_second = kVoltsPerSecond;
  plan.capture.tracks.push_back({sample::port(sample::battery_sense), rig::CaptureKind::samples, 100us, false, {}});
  return plan;
}

rig::Event ramp(rig::Nanoseconds at, sample::P supply, double volts, rig::Nanoseconds duration) {
  return {at, rig::RampOutput{sample::port(supply), rig::Volts{volts}, duration}};
}

/// A dip by ramps, a step that the slew limit makes a ramp of, and the rail following its own course.
std::vector<rig::Segment> dip() {
  sample::Script script;
  script.power_up().hold(50ms);
  std::vector<rig::Segment> all = script.segments;
  rig::Segment down{100,
                    {ramp(2ms, sample::battery, 6, 9ms),
                     ramp(5ms, sample::rail, 4.5, 20ms),
                     ramp(15ms, sample::battery, 12, 40ms),
                     {60ms, rig::SetOutput{sample::port(sample::battery), rig::Volts{7}}}},
                    {{sample::track(slewed_plan().capture.tracks.size() - 1), 0ms, std::nullopt}},
                    80ms};
  all.push_back(down);
  return all;
}

/// A minute's drive: pressures and speed on their way all the time, 4,000 set-points in segments of half a second.
std::vector<rig::Segment> drive() {
  sample::Script script;
  script.power_up().hold(50ms);
  std::vector<rig::Segment> all = script.segments;
  for (std::uint32_t half = 0; half < 120; ++half) {
    rig::Segment segment{1000 + half, {}, {}, 500ms};
    for (int i = 0; i < 11; ++i) {
      const auto at = i * 45ms;
      const double volts = 1.5 + 0.01 * ((half * 11 + static_cast<std::uint32_t>(i)) % 200);
      const auto rpm = static_cast<std::int32_t>(1'000'000 + 20'000 * ((half + static_cast<std::uint32_t>(i)) % 250));
      segment.events.push_back(ramp(at, sample::charge_source, wire::microvolts(volts), 45ms));
      segment.events.push_back(ramp(at, sample::manifold_source, wire::microvolts(volts - 0.1), 45ms));
      segment.events.push_back(
          {at, rig::SetSpeed{sample::port(sample::speed_source), {rpm, 100'000, std::uint64_t{450'000}}}});
    }
    all.push_back(segment);
  }
  return all;
}

void check_same(const drivers::Played& wired, const drivers::Played& direct) {
  REQUIRE(wired.slices.size() == direct.slices.size());
  for (std::size_t i = 0; i < wired.slices.size(); ++i) {
    CAPTURE(i);
    CHECK(wired.slices[i].record == direct.slices[i].record);
    CHECK((wired.slices[i].tracks == direct.slices[i].tracks));
  }
  CHECK(wired.end.reason == rig::EndState::Reason::completed);
}

}  // namespace

TEST_CASE("a supply's ramps, and steps that its slew limit makes ramps of, are the same over the wire",
          "[board][wire]") {
  const auto expected = sample::play(*wire::emulated(), slewed_plan(), dip());
  REQUIRE(expected.end.reason == rig::EndState::Reason::completed);
  const rig::TrackSlice& seen = expected.slices.back().tracks.back();
  const auto volts = [&](double ms) {
    return seen.values.at(static_cast<std::size_t>(ms * 10)) * expected.tracks.back().scale;
  };
  CHECK(volts(6.5) == Approx(13.8 - 7.8 * 0.5).margin(0.15));  // half of the way down
  CHECK(volts(14) == Approx(6).margin(0.05));
  CHECK(volts(35) == Approx(9).margin(0.1));            // half of the way up
  CHECK(volts(62.5) == Approx(12 - 2.5).margin(0.15));  // 5 V at 1 V/ms, not at once
  CHECK(volts(68) == Approx(7).margin(0.05));
  wire::Board board;
  check_same(sample::play(*board.open(), slewed_plan(), dip()), expected);
}

TEST_CASE("a ramp beyond the slew limit ends the run, and the supply is safe", "[board][wire]") {
  auto what = dip();
  what.back().events = {ramp(2ms, sample::battery, 6, 7ms)};
  wire::Board board;
  const auto host = board.open();
  CHECK_THROWS_WITH(sample::play(*host, slewed_plan(), what),
                    Catch::Contains("port 'battery': a ramp of 1114.286 V/s is above the limit of 1000 V/s"));
  CHECK_FALSE(board.bench.energised());
}

TEST_CASE("a minute's drive of 4,000 set-points goes through the smallest queue a board may have", "[board][wire]") {
  const auto what = drive();
  std::size_t set_points = 0;
  for (const rig::Segment& segment : what) set_points += segment.events.size();
  REQUIRE(set_points >= 3960);
  const auto expected = wire::direct(what);
  drivers::DeviceSettings settings = wire::fastest();
  settings.queue_entries = 1024, settings.queue_bytes = 32768;
  wire::Board board{settings};
  check_same(sample::play(*board.open(), wire::plan(), what), expected);
}
