// What the emulated unit and the bench's loads do to lines, rails and ground.
#include "drivers/emulated/contacts.hpp"
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

TEST_CASE("a second load of 10 kohm shows an output's source resistance", "[emulated][loads]") {
  Stand stand;
  Script script = powered();
  relay(script, manifold_second_load, true).hold(50ms);
  stand.play(script);
  const double before = stand.at(1, manifold_out), after = stand.at(2, manifold_out);
  // 47 ohm of the output stage, a contact and two relay contacts into 10 kohm.
  CHECK((before - after) / (after / 10e3) == Approx(47.2).margin(2));
  SECTION("and that of a bypassed line: the sensor's own and the contact's") {
    Script bypassed = powered();
    bypassed.relay(bypass_request, true).hold(50ms);
    relay(bypassed, manifold_second_load, true).hold(50ms);
    stand.play(bypassed);
    const double in = stand.at(3, manifold_in), out = stand.at(3, manifold_out);
    CHECK(stand.at(2, manifold_in) - in == Approx(1000 * out / 10e3).epsilon(0.05));
    CHECK(in - out < 0.001);
  }
}

TEST_CASE("without its first load a line sees nothing but senses", "[emulated][loads]") {
  Stand stand;
  Script script = powered();
  script.ground(battery).relay(load, false).hold(50ms);
  stand.play(script);
  CHECK(stand.at(2, manifold_in) == Approx(2 / (1 + 1000 * (1 / 2.2e6 + 2 / 10e6))).margin(0.0003));
}

TEST_CASE("each rail drops by what its sensors draw through the module's copper", "[emulated][rails]") {
  Stand stand;
  Script script = powered();
  relay(script, second_rail_load, true).hold(50ms);
  stand.play(script);
  const auto drop = [&](std::size_t slice, int controller, int sensor) {
    return stand.at(slice, controller) - stand.at(slice, sensor);
  };
  CHECK(drop(1, second_rail_controller, second_rail_sensor) == Approx(0).margin(0.0002));
  // 20 mA through isolator (0.1), two contacts (0.02 each) and 0.1 ohm of copper
  CHECK(drop(2, second_rail_controller, second_rail_sensor) == Approx(0.02 * 0.24).margin(0.0002));
  SECTION("and the other rail only by the unit's own draw, on the controller's side of its copper") {
    // 2 mA through isolator and contact
    CHECK(drop(2, rail_controller, rail_sensor) == Approx(0.002 * 0.12).margin(0.0002));
  }
}

TEST_CASE("a unit's ground rises by its own current and its sensors'", "[emulated][ground]") {
  Stand stand;
  Script script = powered();
  relay(script, rail_load, true);
  relay(script, second_rail_load, true).hold(50ms);
  stand.play(script);
  const double path = 0.03 + 0.02;  // copper and fixture contact
  CHECK(stand.at(0, ground_sense) == Approx(0).margin(0.00003));
  CHECK(stand.at(1, ground_sense) == Approx((0.06 + 0.002) * path).margin(0.00005));
  CHECK(stand.at(2, ground_sense) == Approx((0.06 + 0.002 + 0.01 + 0.02) * path).margin(0.00005));
  SECTION("and its outputs ride on it, its converters see inputs less it") {
    Stand raised{{}, {"ground_resistance=1"}};
    raised.play(powered());
    const double shift = raised.at(1, ground_sense);
    CHECK(shift == Approx(0.062 * 1.05).margin(0.001));
    // The sensors stand on the bench's zero here: what the converter loses, the output gives back, but for the rail,
    // whose share of 2 V in 5 V is reckoned from the same ground.
    CHECK(raised.at(1, manifold_out) == Approx(stand.at(1, manifold_out)).margin(0.004));
  }
}

TEST_CASE("with its ground open a unit stops drawing and falls back to bypass, and nothing floats",
          "[emulated][ground]") {
  Stand stand;
  Script script = powered();
  relay(script, ground_break, false).hold(100ms);
  relay(script, ground_break, true).hold(400ms);
  stand.play(script);
  CHECK(stand.at(1, battery_current) == Approx(0.06).margin(0.001));
  CHECK(stand.at(2, battery_current) == Approx(0).margin(0.0005));
  CHECK(stand.at(2, manifold_out) == Approx(stand.at(2, manifold_in)).margin(0.0003));
  CHECK(stand.at(2, ground_sense) == Approx(0).margin(0.00005));
  CHECK(stand.at(3, battery_current) == Approx(0.06).margin(0.001));
}

TEST_CASE("a rail that is left open stands at what its lines' pull-ups give it", "[emulated][rails]") {
  Stand stand;
  Script script = powered();
  open(script, second_rail).hold(50ms);
  relay(script, second_rail_load, true).hold(50ms);
  relay(script, second_rail_load, false);
  relay(script, temperature_load, false).hold(50ms);
  stand.play(script);
  // The temperature's source at 2.5 V through 2.2 kohm; a few megaohm of senses.
  CHECK(stand.at(2, second_rail_controller) == Approx(2.5).margin(0.003));
  CHECK(stand.at(2, second_rail_sensor) == Approx(2.5).margin(0.003));
  CHECK(stand.at(3, second_rail_sensor) == Approx(2.5 * 250 / (250 + 2200 + 10)).margin(0.003));
  CHECK(stand.at(4, second_rail_controller) == Approx(0).margin(0.001));
  SECTION("and at what leaks over from the other rail of a unit that joins them") {
    Stand joined{{"cross_feed=100"}};
    joined.play(script);
    CHECK(joined.at(4, second_rail_controller) == Approx(5).margin(0.005));
    CHECK(joined.at(3, second_rail_sensor) > 3);
  }
}

TEST_CASE("a rail whose copper is broken reaches no sensor", "[emulated][rails]") {
  Stand stand{{"open_through=1@rail_5v_2"}};
  Script script = powered();
  relay(script, second_rail_load, true).hold(50ms);
  stand.play(script);
  CHECK(stand.at(2, second_rail_controller) == Approx(5).margin(0.002));
  CHECK(stand.at(2, second_rail_sensor) == Approx(0).margin(0.005));
}

TEST_CASE("diodes into the supply inside drag a line down while the unit has no battery", "[emulated][clamp]") {
  rig::BenchSetup setup = wired::bench();
  Stand stand{{"half_power_clamp=1000@manifold_pressure"}, {}, setup};
  Script script = powered();
  script.set(manifold_source, 4).hold(100ms);
  script.ground(battery).hold(100ms);
  script.set(manifold_source, 0.4).hold(50ms);
  stand.play(script);
  CHECK(stand.at(2, manifold_in) > 3.8);
  // 4 V behind 1 kohm, 0.6 V behind 1 kohm, and 47 kohm with the rest to ground
  const double others = 1 / 47e3 + 1 / 2.2e6 + 2 / 10e6;
  CHECK(stand.at(3, manifold_in) == Approx((4 + 0.6) / 1000 / (0.002 + others)).margin(0.002));
  CHECK(stand.at(4, manifold_in) == Approx(0.4 / 1000 / (0.001 + others)).margin(0.001));
}

TEST_CASE("a source that must give more than it can limits, and the segment says so", "[emulated][limit]") {
  rig::Product product = wired::product();
  product.pressures[1].source_resistance = rig::Ohms{100};
  Stand stand{{"half_power_clamp=50@manifold_pressure"}, {}, wired::bench(), product};
  Script script;
  script.relay(isolator, true).ground(battery).hold(20ms);
  script.set(manifold_source, 4).hold(50ms);
  script.set(manifold_source, 0.5).hold(50ms);
  stand.play(script);
  CHECK(stand.at(1, manifold_in) == Approx(0.6 + 0.01 * 50).margin(0.003));  // 10 mA
  const auto limited = [&](std::size_t slice) {
    std::size_t count = 0;
    for (const rig::RigFlag& flag : stand.played.slices[slice].flags) {
      count += flag.kind == rig::RigFlag::Kind::current_limited && flag.port == port(manifold_source);
    }
    return count;
  };
  CHECK(limited(0) == 0);
  CHECK(limited(1) == 1);
  CHECK(limited(2) == 0);
}

TEST_CASE("a source that cannot sink leaves a pulled-up line where the pull-up takes it", "[emulated][limit]") {
  rig::BenchSetup setup = wired::bench();
  setup.ports[temperature_source].sinks = false;
  Stand sinking, other{{}, {}, setup};
  sinking.play(powered());
  other.play(powered());
  CHECK(sinking.at(1, temperature_in) == Approx(2.5).margin(0.02));
  CHECK(other.at(1, temperature_in) > 4.9);
}

TEST_CASE("the fixture's contacts are about 20 milliohm, drawn from the bench's seed", "[emulated][contacts]") {
  rig::BenchSetup setup = wired::bench(false);
  double least = 1, most = 0;
  for (std::uint64_t seed = 1; seed <= 100; ++seed) {
    setup.seed = seed;
    const double ohms = drivers::emulated::contact_ohms(setup, "rail_5v", drivers::emulated::PinSide::sensor, {});
    CHECK(ohms == drivers::emulated::contact_ohms(setup, "rail_5v", drivers::emulated::PinSide::sensor, {}));
    least = std::min(least, ohms), most = std::max(most, ohms);
  }
  CHECK(least > 0.009);
  CHECK(most < 0.031);
  CHECK(most > 1.5 * least);
}

TEST_CASE("the room is near 25 degrees and wanders slowly; the fixture warms up", "[emulated][climate]") {
  Stand stand;
  Script script;
  for (int minute = 0; minute < 5; ++minute) script.hold(60s);
  stand.play(script);
  CHECK(stand.at(0, ambient) == Approx(25).margin(2.5));
  CHECK(stand.at(0, ambient) - stand.at(4, ambient) == Approx(0).margin(0.8));
  CHECK(stand.at(4, fixture) - stand.at(4, ambient) > 0.4);
  CHECK(stand.at(4, fixture) > stand.at(0, fixture));
}
