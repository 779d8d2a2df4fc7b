// What a module does while its battery falls, stays low, and comes back.
#include "tests/unit/drivers/emulated/failsafe_bench.hpp"

using namespace failsafe;

namespace {

Script dip_to(double low, rig::Nanoseconds length = 100ms) {
  return shifting().set(battery, low).hold(length).set(battery, 13.8).hold(500ms);
}

}  // namespace

TEST_CASE("nothing depends on the battery down to its lowest", "[emulated][brown_out]") {
  Stand stand{{kOwnOutput}};
  stand.play(dip_to(6));
  const double whole = hides_at_end(stand, 2);
  for (const std::size_t slice : {3u, 4u})
    for (std::size_t bin = 0; bin < 100; ++bin) CHECK(hides(stand, slice, bin) == Approx(whole).margin(0.3));
}

TEST_CASE("under its brown-out it passes through at once, and starts again when the battery is back",
          "[emulated][brown_out]") {
  Stand stand{{kOwnOutput}};
  stand.play(dip_to(5.3));
  CHECK(passes_from(stand, 3) <= 5);  // one sample and the relay's travel
  CHECK(stand.at(3, battery_current) == Approx(0).margin(0.001));
  for (std::size_t bin = 0; bin < 180; ++bin) CHECK(passes(stand, 4, bin));
  CHECK(hides_at_end(stand, 4) == Approx(hides_at_end(stand, 2)).margin(0.3));
}

TEST_CASE("between its two thresholds it stays as it was", "[emulated][brown_out]") {
  Stand stand{{kOwnOutput}};
  Script script = shifting();
  for (const double battery_volts : {5.7, 5.3, 5.7, 6.1}) script.set(battery, battery_volts).hold(500ms);
  stand.play(script);
  CHECK_FALSE(passes_at_end(stand, 3));
  CHECK(passes_at_end(stand, 4));
  CHECK(passes_at_end(stand, 5));
  CHECK_FALSE(passes_at_end(stand, 6));
}

TEST_CASE("a dip while it is fallen back leaves it so as long as the fault is there", "[emulated][brown_out]") {
  Stand stand{{kOwnOutput}};
  Script script = shifting();
  script.set(manifold_source, 0).hold(18ms);
  script.set(battery, 3).hold(20ms).set(battery, 13.8).hold(800ms);
  script.kpa(manifold_source, kManifold).hold(800ms);
  stand.play(script);
  for (std::size_t bin = 10; bin < 20; ++bin) CHECK(passes(stand, 4, bin));
  for (std::size_t bin = 0; bin < 800; ++bin) CHECK(passes(stand, 5, bin));
  CHECK_FALSE(passes_at_end(stand, 6));
}

TEST_CASE("without a 5 V rail it passes through and comes back with it", "[emulated][brown_out]") {
  Stand stand;
  Script script = shifting();
  open(script, second_rail).hold(100ms);
  set(script, second_rail, 5).hold(500ms);
  stand.play(script);
  CHECK(std::abs(hides_at_end(stand, 3)) < 0.5);
  CHECK(hides_at_end(stand, 4) > 20);
}

TEST_CASE("a supply watch that decides too high or too low resets too early or not at all",
          "[emulated][brown_out][defects]") {
  Stand good{{kOwnOutput}}, early{{kOwnOutput, "resets_on_dip"}}, late{{kOwnOutput, "shifts_in_brown_out"}};
  good.play(dip_to(8)), early.play(dip_to(8)), late.play(dip_to(4));
  CHECK_FALSE(passes_at_end(good, 3));
  CHECK(passes_from(early, 3) <= 5);
  CHECK_FALSE(passes_at_end(late, 3));
  CHECK(hides_at_end(late, 3) > 15);
  late.play(dip_to(2.8));
  CHECK(passes_at_end(late, 3));
}
