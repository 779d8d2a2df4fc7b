// What can be wrong with the bench's wires and instruments.
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

TEST_CASE("a worn contact of the fixture shows where the load's current flows", "[emulated][trouble]") {
  Stand good, worn{{}, {"worn_contact=manifold_pressure:30"}};
  Script script = powered();
  relay(script, manifold_second_load, true).hold(50ms);
  for (Stand* stand : {&good, &worn}) stand->play(script);
  const double current = worn.at(2, manifold_out) / 10e3 + worn.at(2, manifold_out) / 47e3;
  CHECK(good.at(2, manifold_out) - worn.at(2, manifold_out) == Approx(30 * current).epsilon(0.1));
  SECTION("of a rail, in its drop") {
    Stand rail_worn{{}, {"worn_contact=rail_5v_2:1"}};
    Script loaded = powered();
    relay(loaded, second_rail_load, true).hold(50ms);
    rail_worn.play(loaded);
    const double drop = rail_worn.at(2, second_rail_controller) - rail_worn.at(2, second_rail_sensor);
    CHECK(drop == Approx(0.02 * 1.24).epsilon(0.02));
  }
}

TEST_CASE("a ground contact that has gone bad lifts the unit", "[emulated][trouble]") {
  Stand stand{{}, {"ground_resistance=0.5"}};
  stand.play(powered());
  CHECK(stand.at(1, ground_sense) == Approx(0.062 * 0.55).margin(0.001));
}

TEST_CASE("a slow source follows with the time constant that is said", "[emulated][trouble]") {
  Stand stand{{}, {"slow_source=manifold_pressure:0.05"}};
  Script script = powered();
  script.hold(500ms).set(manifold_source, 3).hold(50ms);
  stand.play(script);
  CHECK(stand.at(3, manifold_in) == Approx(3 - std::exp(-1.0)).margin(0.03));
}

TEST_CASE("an opened sense reads what its own leakage gives, and loads nothing", "[emulated][trouble]") {
  rig::BenchSetup setup = wired::bench(false);
  setup.ports[manifold_in].leakage = rig::Amperes{1e-9};
  Stand stand{{}, {"opened_sense=manifold_in"}, setup};
  stand.play(powered());
  CHECK(std::abs(stand.at(1, manifold_in)) == Approx(0.01).margin(0.0015));  // 1 nA in 10 megaohm; its own error
  CHECK(stand.at(1, manifold_out) > 1.9);
}

TEST_CASE("a drifted supply moves its rail", "[emulated][trouble]") {
  Stand stand{{}, {"drifted_source=rail_5v_2:0.05"}};
  stand.play(powered());
  CHECK(stand.at(1, second_rail_controller) == Approx(5.05).margin(0.002));
  CHECK(stand.at(1, rail_controller) == Approx(5).margin(0.002));
}

TEST_CASE("a trouble that names nothing on the bench is refused with the places there are", "[emulated][trouble]") {
  CHECK_THROWS_WITH((Stand{{}, {"worn_contact=oil_pressure:3"}}),
                    Catch::Contains("oil_pressure") && Catch::Contains("Name a line or a rail"));
  CHECK_NOTHROW(Stand{{}, {"worn_contact=speed:3"}});
  CHECK_NOTHROW(Stand{{}, {"worn_contact=ground:3"}});
}
