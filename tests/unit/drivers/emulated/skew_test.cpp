// How late senses read.
#include "drivers/emulated/instrument.hpp"
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

namespace {

/// Bench whose manifold sense_in reads this late and its sense_out at once; filters of both left out.
rig::BenchSetup late(rig::Nanoseconds skew, rig::Nanoseconds error = 0ns) {
  rig::BenchSetup setup = wired::bench();
  for (const int sense : {manifold_in, manifold_out}) setup.ports[static_cast<std::size_t>(sense)].settling = 0ns;
  setup.ports[manifold_in].skew = skew;
  setup.ports[manifold_in].skew_error = error;
  return setup;
}

/// Unpowered, so that both sides are one piece of copper; 1 V, then from 20 ms on 1 V in 10 ms for 20 ms.
Script ramp() {
  Script script;
  script.relay(isolator, true).set(manifold_source, 1).hold(100ms);
  script.hold(20ms);
  script.add(rig::RampOutput{port(manifold_source), rig::Volts{3}, 20ms}).hold(40ms);
  return script;
}

}  // namespace

TEST_CASE("an envelope of a late sense shows what the pin had that much before", "[emulated][skew]") {
  for (const auto skew : {20us, 300us, 999us, 1000us, 5000us, 5300us}) {
    Stand stand{{}, {}, late(skew)};
    stand.play(ramp());
    // 0.1 V a millisecond: each bin of the late sense lies lower by the slope times its lateness.
    for (const std::size_t bin : {8u, 12u, 18u}) {
      const double behind = stand.bin(2, manifold_out, bin).mean - stand.bin(2, manifold_in, bin).mean;
      CHECK(behind == Approx(0.1 * std::chrono::duration<double, std::milli>(skew).count()).margin(0.001));
    }
    CHECK(stand.bin(2, manifold_in, 39).mean == Approx(stand.bin(2, manifold_out, 39).mean).margin(0.0003));
  }
}

TEST_CASE("a bin of a late sense has the extremes of its own stretch", "[emulated][skew]") {
  Stand stand{{}, {}, late(400us)};
  Script script;
  script.relay(isolator, true).set(manifold_source, 1).hold(100ms);
  script.set(manifold_source, 3).hold(20ms);
  stand.play(script);
  const auto at_once = stand.bin(1, manifold_out, 0), delayed = stand.bin(1, manifold_in, 0);
  CHECK(at_once.mean == Approx(3 - 2 * 0.1).margin(0.01));          // a time constant of 0.1 ms
  CHECK(delayed.mean == Approx(1 + 2 * (0.6 - 0.1)).margin(0.01));  // 0.4 ms later
  CHECK(delayed.low == Approx(1).margin(0.002));
  // 1 kohm of the source into 2.2 megaohm and two senses takes 2 mV.
  const auto after = stand.bin(1, manifold_in, 1), rest = stand.bin(1, manifold_in, 2);
  CHECK(after.low == Approx(2.998 - 2 * std::exp(-6.0)).margin(0.0015));  // what was left when that bin's stretch began
  CHECK(rest.low == Approx(2.998).margin(0.001));
}

TEST_CASE("samples of a late sense are as late as its envelope", "[emulated][skew]") {
  Stand stand{{}, {}, late(300us)};
  stand.what.capture.tracks = {{port(manifold_in), rig::CaptureKind::samples, 100us, false, {}},
                               {port(manifold_out), rig::CaptureKind::samples, 100us, false, {}}};
  Script script = ramp();
  script.segments[2].windows = {{track(0), 5ms, 10ms}, {track(1), 5ms, 10ms}};
  stand.play(script);
  const auto& in = stand.played.slices[2].tracks[0].values;
  const auto& out = stand.played.slices[2].tracks[1].values;
  REQUIRE(in.size() == 100);
  REQUIRE(out.size() == 100);
  for (std::size_t i = 3; i < 100; ++i) CHECK((out[i] - in[i]) * 0.0002 == Approx(0.03).margin(0.0006));
}

TEST_CASE("a track says its sense's skew and how far it may be off, and the sense keeps to it", "[emulated][skew]") {
  const rig::BenchSetup setup = late(50us, 10us);
  Stand stand{{}, {}, setup};
  stand.play(ramp());
  const rig::ClockInfo& clock = stand.played.tracks[stand.track_of(manifold_in)].clock;
  CHECK(clock.skew == 50us);
  CHECK(clock.uncertainty == 10us);
  rig::BenchSetup real = setup;
  real.perfect = false;
  std::int64_t least = 1'000'000, most = 0;
  for (real.seed = 1; real.seed < 100; ++real.seed) {
    const std::int64_t delay = drivers::emulated::draw_delay(real, port(manifold_in), {});
    least = std::min(least, delay), most = std::max(most, delay);
  }
  CHECK(least >= 40'000);
  CHECK(most <= 60'000);
  CHECK(most - least > 15'000);
}

TEST_CASE("a scanned converter that lags reads a slewing input late and a resting one rightly",
          "[emulated][skew][trouble]") {
  Stand stand{{}, {"scanned_skew=manifold_in:0.005"}, late(0us)};
  stand.play(ramp());
  CHECK(stand.bin(2, manifold_out, 15).mean - stand.bin(2, manifold_in, 15).mean == Approx(0.5).margin(0.001));
  CHECK(stand.at(1, manifold_in) == Approx(stand.at(1, manifold_out)).margin(0.0003));
  CHECK(stand.at(2, manifold_in) == Approx(stand.at(2, manifold_out)).margin(0.0003));
}
