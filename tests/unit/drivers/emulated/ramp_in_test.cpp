// How the shift comes in: after a start, a released bypass, a fall-back.
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

namespace {

/// In the last slice of a script that starts a unit at the loaded point.
struct Ramp {
  double from = 0, to = 0;  ///< ms, where a tenth and nine tenths of the shift are there
  double whole = 0;         ///< kPa
  double steepest = 0;      ///< kPa in one bin
};
Ramp ramp_of(const Stand& stand, std::size_t slice) {
  Ramp ramp{0, 0, hides_at_end(stand, slice), 0};
  double before = 0;
  for (std::size_t bin = 20; bin < stand.bins(slice); ++bin) {
    const double now = hides(stand, slice, bin);
    if (now < 0.1 * ramp.whole) ramp.from = static_cast<double>(bin);
    if (now < 0.9 * ramp.whole) ramp.to = static_cast<double>(bin);
    ramp.steepest = std::max(ramp.steepest, now - before);
    before = now;
  }
  return ramp;
}

Script start() {
  Script script;
  script.relay(isolator, true).relay(load, true);
  relay(script, temperature_load, true).hold(20ms);
  set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
  script.set(temperature_source, 2.5).kpa(charge_source, kCharge).kpa(manifold_source, kManifold).rpm(3500);
  return script.hold(500ms);
}

}  // namespace

TEST_CASE("after a start the shift grows evenly from nothing to all of it", "[emulated][ramp]") {
  Stand stand;
  stand.play(start());
  const Ramp ramp = ramp_of(stand, 1);
  CHECK(ramp.whole > 20);
  CHECK(ramp.to - ramp.from == Approx(0.8 * 80).margin(3));
  CHECK(ramp.steepest < 2 * ramp.whole / 80);
  CHECK(ramp.to < 300);
}

TEST_CASE("after a released bypass it grows as after a start", "[emulated][ramp]") {
  Stand stand;
  stand.play(shifting().relay(bypass_request, true).hold(100ms).relay(bypass_request, false).hold(300ms));
  CHECK(std::abs(hides_at_end(stand, 3)) < 0.5);
  const Ramp ramp = ramp_of(stand, 4);
  CHECK(ramp.to - ramp.from == Approx(0.8 * 80).margin(3));
  CHECK(ramp.to < 110);
}

TEST_CASE("a speed that comes back brings the whole shift back", "[emulated][ramp]") {
  Stand stand;
  stand.play(shifting().rpm(0).hold(300ms).rpm(3500).hold(300ms));
  CHECK(std::abs(hides_at_end(stand, 3)) < 0.5);
  CHECK(ramp_of(stand, 4).steepest > 3);
}

TEST_CASE("a unit without a ramp shifts all at once", "[emulated][ramp][defects]") {
  Stand stand{{"no_ramp_in"}};
  stand.play(start());
  const Ramp ramp = ramp_of(stand, 1);
  CHECK(ramp.whole > 20);
  CHECK(ramp.to - ramp.from < 12);  // its output filter
}
