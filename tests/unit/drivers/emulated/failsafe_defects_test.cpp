// What a module with a failsafe that does not do its duty does instead.
#include "rig/core/rig_fault.hpp"
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

namespace {

/// The manifold sensor's wire at `volts` for a while, then well again.
Script broken(double volts, rig::Nanoseconds length = 200ms) {
  return shifting().set(manifold_source, volts).hold(length).kpa(manifold_source, kManifold).hold(700ms);
}

}  // namespace

TEST_CASE("a unit that keeps its last speed shifts on a standing engine", "[emulated][failsafe][defects]") {
  Stand good, keeps{{"no_speed_failsafe"}};
  const Script script = shifting().rpm(0).hold(2s);
  good.play(script), keeps.play(script);
  CHECK(std::abs(hides_at_end(good, 3)) < 0.5);
  CHECK(hides_at_end(keeps, 3) > 20);
}

TEST_CASE("a late failsafe is late by what it says", "[emulated][failsafe][defects]") {
  Stand late{{kOwnOutput, "late_failsafe"}};
  late.play(broken(0));
  CHECK(passes_from(late, 3) >= 150);
  CHECK(passes_from(late, 3) <= 160);
}

TEST_CASE("a unit that does not recover needs its power cycled, one that does not latch comes back for ever",
          "[emulated][failsafe][defects]") {
  Stand stays{{"no_recovery"}}, returns{{"no_latch"}};
  Script script = broken(0);
  for (int i = 0; i < 5; ++i) script.set(manifold_source, 0).hold(50ms).kpa(manifold_source, kManifold).hold(700ms);
  script.set(battery, 0).hold(50ms).set(battery, 13.8).hold(500ms);
  stays.play(script), returns.play(script);
  CHECK(std::abs(hides_at_end(stays, 4)) < 0.5);
  CHECK(hides_at_end(stays, stays.played.slices.size() - 1) > 20);
  CHECK(hides_at_end(returns, 14) > 20);
}

TEST_CASE("a unit that hides a broken sensor holds its last value, on the side it says",
          "[emulated][failsafe][defects]") {
  for (const auto& [name, low] : {std::pair{"hides_open", true}, std::pair{"hides_short", false}}) {
    Stand hides{{name}}, other{{name}};
    hides.play(broken(low ? 0 : 5)), other.play(broken(low ? 5 : 0));
    CAPTURE(name);
    CHECK(hides.at(3, manifold_out) == Approx(hides.at(2, manifold_out)).margin(0.02));
    CHECK(hides_at_end(hides, 3) > 20);  // nor does the other channel hear of it
    CHECK(other.at(3, manifold_out) == Approx(other.at(3, manifold_in)).margin(0.01));
    CHECK(std::abs(hides_at_end(other, 3)) < 0.5);
  }
  Stand charge{{"hides_open@charge_pressure"}};
  charge.play(broken(0));
  CHECK(charge.at(3, manifold_out) == Approx(charge.at(3, manifold_in)).margin(0.01));
}

TEST_CASE("a relay that spikes does so whatever it drops out for", "[emulated][failsafe][defects]") {
  const auto highest = [](const Stand& stand, std::size_t slice) {
    double most = 0;
    std::size_t bins = 0;
    for (std::size_t bin = 0; bin < 50; ++bin) {
      const double above = stand.bin(slice, charge_out, bin).high - stand.bin(slice, charge_in, bin).mean;
      most = std::max(most, above);
      bins += above > 0.2;
    }
    return std::pair{most, bins};
  };
  for (const bool fault : {true, false}) {
    Script script = shifting();
    if (fault) script.set(temperature_source, 0);
    if (!fault) script.set(battery, 0);
    script.hold(100ms);
    Stand good, spikes{{"relay_spike"}};
    good.play(script), spikes.play(script);
    CAPTURE(fault);
    CHECK(highest(good, 3).first < 0.05);
    CHECK(highest(spikes, 3).first > 0.4);
    CHECK(highest(spikes, 3).second >= 3);
    CHECK(highest(spikes, 3).second <= 9);  // the spike, and what the filter leaves until the relay is there
    CHECK(std::abs(hides_at_end(spikes, 3)) < 0.5);
  }
}

TEST_CASE("a one-sided unit passes the broken sensor on and goes on shifting the other",
          "[emulated][failsafe][defects]") {
  for (const double volts : {0.0, 5.0}) {
    Stand good, one{{"one_sided_fallback"}};
    good.play(broken(volts)), one.play(broken(volts));
    CHECK(std::abs(hides_at_end(good, 3)) < 0.5);
    CHECK(hides_at_end(one, 3) > 20);
    CHECK(one.at(3, manifold_out) == Approx(one.at(3, manifold_in)).margin(0.03));
    CHECK(hides_at_end(one, 4, manifold_in, manifold_out) > 20);
  }
}

TEST_CASE("a unit that does not compare its two pressures shifts by one that has frozen",
          "[emulated][failsafe][defects]") {
  Stand good, believes{{"no_disagreement_fallback"}};
  const Script script = shifting().kpa(charge_source, 110).hold(200ms);
  good.play(script), believes.play(script);
  CHECK(std::abs(hides_at_end(good, 3)) < 0.5);
  CHECK(hides_at_end(believes, 3) > 20);
}

TEST_CASE("a failsafe's defect that could do nothing is refused", "[emulated][failsafe][defects]") {
  CHECK_THROWS_WITH(Stand{{"late_failsafe=0.01"}}, Catch::Contains("longer than its debounce"));
  CHECK_THROWS_WITH(Stand{{"resets_on_dip=5"}}, Catch::Contains("above its brown-out"));
  CHECK_THROWS_WITH(Stand{{"shifts_in_brown_out=9"}}, Catch::Contains("below its brown-out"));
  CHECK_THROWS_WITH(Stand{{"no_watchdog"}}, Catch::Contains("cannot be asked to stand still"));
  rig::Product at_once = wired::product();
  at_once.build.failsafe.ramp_in = 0ms;
  CHECK_THROWS_WITH((Stand{{"no_ramp_in"}, {}, wired::bench(), at_once}), Catch::Contains("has no ramp"));
  rig::Product one = sample::product();
  one.pressures.pop_back();
  one.pressures[0].shift = rig::Shift{0, 0, {}};
  auto setup = sample::bench();
  setup.wiring.lines.erase(setup.wiring.lines.begin() + 1);
  for (const char* text : {"one_sided_fallback", "no_disagreement_fallback"})
    CHECK_THROWS_WITH((Stand{{text}, {}, setup, one}), Catch::Contains("one pressure channel only"));
}
