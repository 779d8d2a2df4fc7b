// When a segment that waits may end: not before the product's latency, nor while its shift still grows.
#include "rig/compile/script.hpp"

#include "tests/unit/compile/shipped.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

/// The shipped two-pressure product on the emulated bench, battery and rails on for as long as a start takes.
struct Written {
  Written() {
    script.battery(product->battery.nominal);
    script.rails(true);
    script.speed(Rpm{3000});
    script.hold(segments, product->timing.boot);
  }
  Nanoseconds settle() {
    script.settle(segments);
    return std::get<Until>(segments.back().end).not_before;
  }
  std::shared_ptr<const Product> product = shipped::end_of_line().product;
  BenchSetup bench = shipped::emulated_bench();
  TrackMap tracks;
  Script script{*product, bench, tracks, 1ms, 10'000'000};
  std::vector<Segment> segments;
};

constexpr auto kLatency = 10ms, kRamp = 100ms, kBoot = 300ms;  // as the product says

}  // namespace

TEST_CASE("a settled output is not believed before the product's latency", "[compile][script]") {
  Written w;
  w.script.pressure(1, Kilopascals{150});
  CHECK(w.settle() >= kLatency);
  CHECK(w.settle() < kLatency + 50ms);
}

TEST_CASE("nor before a start is over, or what of it the segments before have not covered", "[compile][script]") {
  Written w;
  w.script.battery(Grounded{});
  w.script.hold(w.segments, 50ms);
  w.script.battery(w.product->battery.nominal);
  SECTION("at once") { CHECK(w.settle() >= kBoot + kLatency); }
  SECTION("after a part of it") {
    w.script.hold(w.segments, 200ms);
    const auto rest = w.settle();
    CHECK(rest >= kBoot - 200ms + kLatency);
    CHECK(rest < kBoot);
    CHECK(w.settle() < kLatency + 50ms);
  }
  SECTION("a supply that is on already is no start") {
    w.script.hold(w.segments, kBoot);
    w.script.battery(w.product->battery.nominal);
    w.script.rails(true);
    CHECK(w.settle() < kLatency + 50ms);
  }
  SECTION("a rail that comes back is one") {
    w.script.hold(w.segments, kBoot);
    w.script.rail(0, Grounded{});
    w.script.hold(w.segments, 50ms);
    w.script.rail_ramp(0, Volts{5}, 20ms);
    CHECK(w.settle() >= 20ms + kBoot + kLatency);
  }
}

TEST_CASE("nor while the shift grows after a released bypass or a sensor that is back", "[compile][script]") {
  Written w;
  SECTION("bypass") {
    w.script.relay(w.bench.wiring.bypass_request, true);
    CHECK(w.settle() < kLatency + 50ms);
    w.script.relay(w.bench.wiring.bypass_request, false);
    CHECK(w.settle() >= kRamp + kLatency);
  }
  SECTION("sensor") {
    w.script.pressure(1, Kilopascals{150});
    w.settle();
    w.script.source(1, Volts{0});
    CHECK(w.settle() < kLatency + 50ms);
    w.script.pressure(1, Kilopascals{150});
    CHECK(w.settle() >= kRamp + kLatency);
    w.script.pressure(1, Kilopascals{160});
    CHECK(w.settle() < kLatency + 50ms);
  }
}

TEST_CASE("without power nothing grows: a wait stays short", "[compile][script]") {
  Written w;
  w.script.battery(Grounded{});
  w.script.rails(false);
  w.script.hold(w.segments, 50ms);
  w.script.relay(w.bench.wiring.bypass_request, true);
  w.script.hold(w.segments, 50ms);
  w.script.relay(w.bench.wiring.bypass_request, false);
  w.script.pressure(1, Kilopascals{150});
  CHECK(w.settle() < kLatency + 50ms);
}
