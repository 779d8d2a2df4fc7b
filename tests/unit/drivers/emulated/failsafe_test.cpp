// What a module does when an input cannot be believed: pass-through after a debounce, back after a healthy time.
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

TEST_CASE("an input beyond its rails is passed on at once, and both outputs pass through after the debounce",
          "[emulated][failsafe]") {
  Stand stand{{kOwnOutput}};
  stand.play(shifting().set(manifold_source, 0).hold(100ms));
  CHECK(hides_at_end(stand, 2, manifold_in, manifold_out) > 20);
  CHECK(stand.bin(3, manifold_out, 14).mean < 0.25);  // by its output stage
  CHECK_FALSE(passes(stand, 3, 14));
  CHECK(passes_from(stand, 3) >= 15);
  CHECK(passes_from(stand, 3) <= 25);  // debounce, filter, the relay's travel
}

TEST_CASE("a disturbance shorter than the debounce is no fault", "[emulated][failsafe]") {
  Stand stand{{kOwnOutput}};
  stand.play(shifting().set(manifold_source, 5).hold(10ms).kpa(manifold_source, kManifold).hold(100ms));
  for (std::size_t bin = 30; bin < 100; ++bin) CHECK_FALSE(passes(stand, 4, bin));
  CHECK(hides_at_end(stand, 4, manifold_in, manifold_out) > 20);
}

TEST_CASE("a temperature that cannot be makes it fall back, one at the end of its range does not",
          "[emulated][failsafe]") {
  for (const double at : {0.0, 5.0}) {
    Stand stand{{kOwnOutput}};
    stand.play(shifting().set(temperature_source, at).hold(100ms));
    CAPTURE(at, passes_from(stand, 3));
    CHECK(passes_from(stand, 3) >= 15);
    CHECK(passes_from(stand, 3) <= 25);
  }
  for (const double celsius : {-40.0, 130.0}) {
    Stand stand{{kOwnOutput}};
    stand.play(shifting().celsius(celsius).hold(100ms));
    CAPTURE(celsius);
    CHECK_FALSE(passes_at_end(stand, 3));
  }
}

TEST_CASE("two pressures further apart than an engine can bring them make it fall back", "[emulated][failsafe]") {
  const auto played = [](double charge, double manifold) {
    Stand stand{{kOwnOutput}};
    stand.play(shifting().kpa(charge_source, charge).kpa(manifold_source, manifold).hold(100ms));
    return passes_at_end(stand, 3) ? passes_from(stand, 3) : 1000;
  };
  CHECK(played(kManifold - 36, kManifold) == 1000);
  CHECK(played(kManifold - 44, kManifold) <= 24);
  CHECK(played(240, 40) == 1000);  // the throttle shuts under boost
}

TEST_CASE("it shifts again once all inputs have been valid for the healthy time, and with a ramp",
          "[emulated][failsafe]") {
  Stand stand{{kOwnOutput}};
  Script script = shifting();
  script.set(manifold_source, 0).hold(200ms);
  script.kpa(manifold_source, kManifold).hold(300ms);
  script.set(temperature_source, 5).hold(10ms);  // not for long enough to be a fault, but healthy it is not
  script.set(temperature_source, 2.5).hold(600ms);
  stand.play(script);
  CHECK(passes_at_end(stand, 3));
  CHECK(passes_at_end(stand, 4));
  for (std::size_t bin = 0; bin < 395; ++bin) CHECK(passes(stand, 6, bin));
  CHECK(std::abs(hides(stand, 6, 412, manifold_in, manifold_out)) < 5);
  CHECK(hides(stand, 6, 450, manifold_in, manifold_out) == Approx(12).margin(5));
  CHECK(hides_at_end(stand, 6, manifold_in, manifold_out) == Approx(hides_at_end(stand, 2, manifold_in, manifold_out)));
}

TEST_CASE("too many fall-backs within a time hold until power is cycled", "[emulated][failsafe]") {
  const auto fall_back = [](Script& script, rig::Nanoseconds back) {
    script.set(manifold_source, 0).hold(50ms);
    script.kpa(manifold_source, kManifold).hold(back);
  };
  SECTION("the fourth within ten seconds does, and a rail that comes and goes is no power cycle") {
    Stand stand;
    Script script = shifting();
    for (int i = 0; i < 4; ++i) fall_back(script, 800ms);
    script.hold(3s);
    open(script, second_rail).hold(100ms);
    set(script, second_rail, 5).hold(800ms);
    script.set(battery, 0).hold(50ms);
    script.set(battery, 13.8).hold(500ms);
    stand.play(script);
    for (const std::size_t third : {4u, 6u, 8u}) CHECK(hides_at_end(stand, third) > 20);
    CHECK(std::abs(hides_at_end(stand, 10)) < 0.5);
    CHECK(std::abs(hides_at_end(stand, 11)) < 0.5);
    CHECK(std::abs(hides_at_end(stand, 13)) < 0.5);
    CHECK(hides_at_end(stand, 15) > 20);
  }
  SECTION("as many over a longer time do not") {
    Stand stand;
    Script script = shifting();
    for (int i = 0; i < 5; ++i) fall_back(script, 3500ms);
    stand.play(script);
    CHECK(hides_at_end(stand, 12) > 20);
  }
}

TEST_CASE("a module that starts with a fault does not take over before it has gone", "[emulated][failsafe]") {
  Stand stand{{kOwnOutput}};
  Script script;
  script.relay(isolator, true).relay(load, true);
  relay(script, temperature_load, true).hold(20ms);
  set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
  script.set(temperature_source, 2.5).kpa(charge_source, kCharge).set(manifold_source, 5).rpm(3500).hold(600ms);
  script.kpa(manifold_source, kManifold).hold(700ms);
  stand.play(script);
  for (std::size_t bin = 20; bin < 600; ++bin) CHECK(passes(stand, 1, bin));
  for (std::size_t bin = 20; bin < 395; ++bin) CHECK(passes(stand, 2, bin));
  CHECK_FALSE(passes_at_end(stand, 2));
}

TEST_CASE("a request to bypass during a fault, and a fault during a bypass, end when both have",
          "[emulated][failsafe]") {
  Stand stand{{kOwnOutput}};
  Script script = shifting();
  script.set(manifold_source, 0).hold(100ms).relay(bypass_request, true).hold(100ms);
  script.kpa(manifold_source, kManifold).hold(700ms).set(manifold_source, 0).hold(100ms);
  script.relay(bypass_request, false).hold(100ms).kpa(manifold_source, kManifold).hold(700ms);
  stand.play(script);
  for (std::size_t slice = 3; slice <= 7; ++slice) CHECK(passes_at_end(stand, slice));
  CHECK_FALSE(passes_at_end(stand, 8));
}
