#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;

namespace {

/// A source that ramps from 1 V to 3 V within the 100 ms after `ramp_at`, in a segment of 200 ms, and a second segment
/// of 100 ms; the one track is its line's sense_in.
struct Captured {
  Captured(rig::Trigger trigger, rig::Window window, rig::Nanoseconds ramp_at = 50ms, bool perfect = true)
      : bench{{}, sample::bench(perfect)} {
    drivers::SessionPlan what = plan(bench.setup);
    what.capture.tracks = {{port(charge_in), rig::CaptureKind::triggered, 100us, false, trigger},
                           {port(charge_in), rig::CaptureKind::samples, 100us, true, {}}};
    Script script;
    script.relay(isolator, true).set(charge_source, 1).hold(100ms);
    script.hold(200ms).hold(100ms);
    script.segments[1].events.push_back({ramp_at, rig::RampOutput{port(charge_source), rig::Volts{3}, 100ms}});
    script.segments[1].windows.push_back(window);
    played = sample::play(*bench.driver, what, script.segments);
  }
  const rig::TrackSlice& in(std::size_t slice) const { return played.slices[slice].tracks[0]; }
  /// From its segment's start.
  rig::Nanoseconds time(std::size_t slice, std::size_t i) const {
    return rig::reading_time(played.tracks[0], in(slice), i) - played.slices[slice].record.start;
  }
  double volts(std::size_t slice, std::size_t i) const { return in(slice).values[i] * played.tracks[0].scale; }
  Bench bench;
  drivers::Played played;
};

rig::Trigger at(double volts, bool rising = true) { return {rig::Volts{volts}, rising, 5ms, 20ms}; }

}  // namespace

TEST_CASE("a triggered track without a threshold records around its window's start", "[emulated][triggered]") {
  const Captured c{{{}, true, 5ms, 20ms}, {track(0), 30ms, 10ms}};
  REQUIRE(c.in(1).values.size() == 250);
  CHECK(c.time(1, 0) == 25ms);
  CHECK(c.time(1, 249) == 49900us);
  CHECK(c.in(0).values.empty());
}

TEST_CASE("a triggered track records around the first crossing in its window", "[emulated][triggered]") {
  const Captured c{at(2), {track(0), 10ms, 150ms}};
  REQUIRE(c.in(1).values.size() == 250);
  CHECK(c.volts(1, 49) < 2);
  CHECK(c.volts(1, 50) >= 2);
  CHECK(c.time(1, 50) >= 100ms);  // the ramp's middle, and what source and leakage keep back of it
  CHECK(c.time(1, 50) <= 102ms);
}

TEST_CASE("a triggered track holds what its session's samples hold, noise apart", "[emulated][triggered]") {
  const Captured c{at(2), {track(0), 10ms, 150ms}};
  const rig::TrackSlice& all = c.played.slices[1].tracks[1];
  const auto first = static_cast<std::size_t>(c.time(1, 0) / 100us);
  for (std::size_t i = 0; i < c.in(1).values.size(); ++i) CHECK(c.in(1).values[i] == all.values[first + i]);
}

TEST_CASE("a crossing outside of the window, or the other way, is no event", "[emulated][triggered]") {
  CHECK(Captured{at(2), {track(0), 10ms, 50ms}}.in(1).values.empty());
  CHECK(Captured{at(2), {track(0), 120ms, 50ms}}.in(1).values.empty());
  CHECK(Captured{at(2, false), {track(0), 10ms, 150ms}}.in(1).values.empty());
  CHECK(Captured{at(0.5), {track(0), 10ms, 150ms}}.in(1).values.empty());  // past it all the time
}

TEST_CASE("what a trigger records after its segment's end belongs to the next one", "[emulated][triggered]") {
  const Captured c{at(2), {track(0), 10ms, {}}, 140ms};
  CHECK(c.in(1).values.size() + c.in(2).values.size() == 250);
  CHECK(c.in(2).values.size() > 90);
  CHECK(c.time(2, 0) == 0ms);
}

TEST_CASE("noise at the threshold makes one event, as it does on a real converter", "[emulated][triggered]") {
  const Captured c{at(2), {track(0), 10ms, 150ms}, 50ms, false};
  CHECK(c.in(1).values.size() == 250);
  CHECK(c.in(1).jumps.empty());
  CHECK(c.volts(1, 50) >= 2);
}

TEST_CASE("a trigger that reaches back before its segment is refused", "[emulated][triggered]") {
  CHECK_THROWS_AS((Captured{at(2), {track(0), 4ms, 150ms}}), rig::RigFault);
}
