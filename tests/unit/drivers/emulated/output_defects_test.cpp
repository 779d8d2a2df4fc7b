// Defects of a unit's outputs and inputs that show only in time, or against what surrounds it.
#include "drivers/emulated/climate.hpp"
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

namespace {

/// A unit's manifold output over a good one's at the end of a script, in volts.
double changed(const char* defect, const Script& script) {
  Stand good, bad{{defect}};
  good.play(script), bad.play(script);
  const std::size_t last = good.played.slices.size() - 1;
  return bad.at(last, manifold_out) - good.at(last, manifold_out);
}

}  // namespace

TEST_CASE("a map held some breakpoints early hides too little at its upper edge, and nowhere else",
          "[emulated][defects]") {
  const auto at = [](double pressure) {
    return powered().kpa(charge_source, pressure + 10).kpa(manifold_source, pressure).rpm(2000).hold(500ms);
  };
  CHECK(std::abs(changed("wrong_clamp", at(165))) < 0.002);
  CHECK(kpa(changed("wrong_clamp", at(225))) == Approx(shift_at(2000, 220) - shift_at(2000, 185)).margin(0.5));
}

TEST_CASE("a backlash shows between a pressure reached from above and from below", "[emulated][defects]") {
  const auto gap = [](std::vector<const char*> defects) {
    Stand stand{std::move(defects)};
    Script script = powered();
    for (const double pressure : {100.0, 110.0, 120.0, 110.0})
      script.kpa(charge_source, pressure).kpa(manifold_source, pressure).hold(100ms);
    stand.play(script);
    return kpa(stand.at(5, manifold_out) - stand.at(3, manifold_out));
  };
  CHECK(std::abs(gap({})) < 0.1);
  CHECK(gap({"hysteresis"}) == Approx(2).margin(0.15));
}

TEST_CASE("a slow filter lags behind a jump, a good one hardly", "[emulated][defects]") {
  Script script = powered();
  script.kpa(charge_source, 150).kpa(manifold_source, 150).hold(200ms);
  const auto lacks = [&](std::vector<const char*> defects) {
    Stand stand{std::move(defects)};
    stand.play(script);
    return stand.at(2, manifold_out) - stand.bin(2, manifold_out, 20).mean;
  };
  CHECK(lacks({}) < 0.02);
  CHECK(lacks({"slow_filter"}) > 0.2);
  CHECK(std::abs(changed("slow_filter", script)) < 0.002);
}

TEST_CASE("a limit cycle swings the output though nothing moves", "[emulated][defects]") {
  const auto swing = [](std::vector<const char*> defects, std::size_t from, std::size_t to) {
    Stand stand{std::move(defects)};
    stand.play(shifting().hold(500ms));
    double low = 5, high = 0;
    for (std::size_t bin = from; bin < to; ++bin) {
      low = std::min(low, stand.bin(3, manifold_out, bin).mean),
      high = std::max(high, stand.bin(3, manifold_out, bin).mean);
    }
    return high - low;
  };
  CHECK(swing({}, 0, 500) < 0.003);
  CHECK(swing({"limit_cycle"}, 0, 500) == Approx(0.02).margin(0.003));
  CHECK(swing({"limit_cycle"}, 0, 20) < 0.008);  // too slow to be seen in a point of a sweep
}

TEST_CASE("an output drifts with warmth or with the battery by what the defect says", "[emulated][defects]") {
  rig::BenchSetup setup = wired::bench();
  const double off = drivers::emulated::fixture_celsius(setup.seed, 920'000'000) - 25;
  CHECK(changed("temperature_drift=0.02", shifting()) == Approx(0.02 * off).margin(0.003));
  CHECK(std::abs(changed("supply_drift", shifting())) < 0.002);
  CHECK(changed("supply_drift", shifting().set(battery, 8.8).hold(100ms)) == Approx(-5 * 0.02).margin(0.003));
}

TEST_CASE("an output that ignores its reference is off as much as the rail is", "[emulated][defects]") {
  Script script = shifting();
  set(script, second_rail, 5.2).set(manifold_source, volts(kManifold) * 5.2 / 5).hold(100ms);
  CHECK(std::abs(changed("ignores_reference", shifting())) < 0.002);
  CHECK(changed("ignores_reference", script) < -0.08);
}

TEST_CASE("an intermittent output falls to its controller's pull-down now and then, for a moment",
          "[emulated][defects]") {
  Stand good, opens{{"intermittent_output"}};
  const Script script = shifting().hold(2100ms);
  good.play(script), opens.play(script);
  std::size_t lost = 0;
  for (std::size_t bin = 0; bin < 2100; ++bin) {
    const double gone = good.bin(3, manifold_out, bin).mean - opens.bin(3, manifold_out, bin).mean;
    CHECK(std::abs(good.bin(3, manifold_out, bin).mean - good.at(3, manifold_out)) < 0.003);
    lost += gone > 1;
  }
  CHECK(lost >= 6);
  CHECK(lost <= 12);
}

TEST_CASE("a unit that counts rising edges too reckons with twice the speed", "[emulated][defects]") {
  const auto hidden_at = [](std::vector<const char*> defects, double rpm) {
    Stand stand{std::move(defects)};
    stand.play(powered().kpa(charge_source, 210).kpa(manifold_source, 200).rpm(rpm).hold(500ms));
    return hides_at_end(stand, 2);
  };
  CHECK(hidden_at({"doubled_edges"}, 2000) == Approx(hidden_at({}, 4000)).margin(0.3));
  CHECK(std::abs(hidden_at({"doubled_edges"}, 3500)) < 0.5);  // beyond the limiter, as it believes
}

TEST_CASE("a unit that is late with its speed shifts by the one there was", "[emulated][defects]") {
  Stand good, late{{"cam_delay"}};
  const Script script = shifting().rpm(1000).hold(400ms);
  good.play(script), late.play(script);
  CHECK(std::abs(hides(good, 3, 140)) < 1);
  CHECK(hides(late, 3, 140) > 20);
  CHECK(std::abs(hides_at_end(late, 3)) < 0.5);
}
