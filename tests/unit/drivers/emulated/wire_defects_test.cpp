// What a bad unit does to the wires it sits in, at the sizes that the catalogue calls usual.
#include <algorithm>
#include <cmath>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

namespace {

double kpa(double volts) { return to_kpa(volts); }

/// At a point where the sample product hides 25 kPa.
Script loaded() {
  Script script = powered();
  script.kpa(charge_source, 210).kpa(manifold_source, 200).rpm(3500).hold(500ms);
  return script;
}

}  // namespace

TEST_CASE("input leakage drags its sensor down, powered and not", "[emulated][defects]") {
  Stand good, leaks{{"input_leakage"}};
  Script script = powered();
  script.set(manifold_source, 3.6).hold(200ms);
  open(script.open(battery).open(rail), second_rail).hold(200ms);
  good.play(script), leaks.play(script);
  for (const std::size_t slice : {2u, 3u}) {
    // proving-a-module: 47 kohm of leakage on a 1 kohm source is 76 mV, 4.3 kPa at 200 kPa
    CHECK(good.at(slice, manifold_in) - leaks.at(slice, manifold_in) == Approx(3.6 / 48).margin(0.004));
    CHECK(good.at(slice, charge_in) == Approx(leaks.at(slice, charge_in)).margin(0.001));
  }
}

TEST_CASE("a weak output gives way to the controller's input", "[emulated][defects]") {
  Stand good, weak{{"weak_output"}};
  good.play(loaded()), weak.play(loaded());
  CHECK(kpa(good.at(2, manifold_out)) - kpa(weak.at(2, manifold_out)) > 2);  // 1 kohm into 47 kohm
}

TEST_CASE("a clamp into the supply inside is seen with 5 V alone, not with the battery on", "[emulated][defects]") {
  Stand good, clamps{{"half_power_clamp"}};
  Script script = powered();
  script.set(manifold_source, 2.9).hold(200ms);
  script.set(battery, 0).hold(300ms);
  good.play(script), clamps.play(script);
  CHECK(clamps.at(2, manifold_in) == Approx(good.at(2, manifold_in)).margin(0.002));
  CHECK(kpa(good.at(3, manifold_in)) - kpa(clamps.at(3, manifold_in)) > 4);
}

TEST_CASE("without its ground a good unit passes its sensors on, a floating one stands in the middle",
          "[emulated][defects][ground]") {
  Script script = loaded();
  relay(script, ground_break, false).hold(200ms);
  relay(script, ground_break, true).hold(600ms);
  Stand good, floats{{"floating_without_ground"}};
  good.play(script), floats.play(script);
  CHECK(good.at(3, manifold_out) == Approx(good.at(3, manifold_in)).margin(0.01));
  for (const int out : {charge_out, manifold_out}) CHECK(floats.at(3, out) == Approx(2.2).margin(0.02));
  CHECK(kpa(floats.at(3, manifold_in)) - kpa(floats.at(3, manifold_out)) > 35);
  CHECK(floats.at(3, battery_current) == Approx(0).margin(0.001));
  CHECK(floats.at(4, manifold_out) == Approx(good.at(4, manifold_out)).margin(0.003));  // and works again
  SECTION("also when the battery comes on without a ground") {
    Script dead;
    dead.relay(isolator, true).relay(load, true);
    relay(dead, ground_break, false).hold(20ms);
    set(dead.set(battery, 13.8).set(rail, 5).set(manifold_source, 3.5), second_rail, 5).hold(400ms);
    good.play(dead), floats.play(dead);
    CHECK(good.at(1, manifold_out) == Approx(good.at(1, manifold_in)).margin(0.1));
    CHECK(floats.at(1, manifold_out) == Approx(2.2).margin(0.02));
  }
}

TEST_CASE("one start in ten glitches, at a place in the ten that the serial number decides", "[emulated][defects]") {
  Script script;
  script.relay(isolator, true).relay(load, true).hold(20ms);
  constexpr std::size_t kStarts = 20;
  for (std::size_t i = 0; i < kStarts; ++i) {
    set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
    script.set(charge_source, 2).set(manifold_source, 2).set(temperature_source, 2.5).hold(300ms);
    open(script.open(battery).open(rail), second_rail).hold(50ms);
  }
  Stand stand{{"tenth_start_glitch"}};
  stand.play(script);
  std::vector<std::size_t> glitches;
  for (std::size_t start = 0; start < kStarts; ++start) {
    double highest = 0;
    for (std::size_t i = 20; i < 300; ++i) highest = std::max(highest, stand.bin(1 + 2 * start, manifold_out, i).high);
    if (highest > 2.1) glitches.push_back(start);
  }
  REQUIRE(glitches.size() == 2);
  CHECK(glitches[1] - glitches[0] == 10);
}

TEST_CASE("a unit whose sign is wrong adds what it should hide", "[emulated][defects]") {
  Stand good, wrong{{"wrong_sign"}};
  good.play(loaded()), wrong.play(loaded());
  const double hides = kpa(good.at(2, manifold_in)) - kpa(good.at(2, manifold_out));
  const double adds = kpa(wrong.at(2, manifold_out)) - kpa(wrong.at(2, manifold_in));
  CHECK(hides > 20);
  CHECK(adds == Approx(hides).margin(0.5));
}

TEST_CASE("a cross-feed half wakes a rail that is off", "[emulated][defects][rails]") {
  Stand good, feeds{{"cross_feed"}};
  Script script = powered();
  open(script, second_rail).hold(300ms);
  good.play(script), feeds.play(script);
  CHECK(feeds.at(2, second_rail_controller) > 3);
  CHECK(feeds.at(2, second_rail_controller) - good.at(2, second_rail_controller) > 0.5);
}

TEST_CASE("a broken wire through the unit parts rail or temperature", "[emulated][defects]") {
  Stand no_rail{{"open_through"}}, no_temperature{{"open_through@intake_temperature"}};
  Script script = powered();
  relay(script, rail_load, true).hold(100ms);
  no_rail.play(script), no_temperature.play(script);
  CHECK(no_rail.at(2, rail_controller) > 4.9);
  CHECK(no_rail.at(2, rail_sensor) < 0.1);
  CHECK(no_temperature.at(2, temperature_in) == Approx(2.5).margin(0.01));
  CHECK(no_temperature.at(2, temperature_out) > 4.9);  // the controller's pull-up
}

TEST_CASE("a worn pin of the unit shows in line, rail and ground", "[emulated][defects]") {
  Stand good, line{{"worn_contact"}}, of_rail{{"worn_contact@rail_5v"}}, ground{{"worn_contact=3@ground"}};
  Script script;
  script.relay(isolator, true).relay(load, true);
  relay(relay(script, manifold_second_load, true), rail_load, true).hold(20ms);
  script.set(manifold_source, 3.5).set(rail, 5).hold(100ms);
  set(script.set(battery, 13.8), second_rail, 5).hold(400ms);
  for (Stand* stand : {&good, &line, &of_rail, &ground}) stand->play(script);
  const auto drop = [&](Stand& stand) { return stand.at(1, manifold_in) - stand.at(1, manifold_out); };
  CHECK(drop(line) - drop(good) == Approx(30 * 2.9 / 8250).margin(0.002));  // 47 and 10 kohm: 0.35 mA or so
  CHECK(good.at(2, rail_sensor) - of_rail.at(2, rail_sensor) == Approx(30 * 5.0 / 530).margin(0.02));
  CHECK(ground.at(2, ground_sense) - good.at(2, ground_sense) == Approx(3 * 0.07).margin(0.03));
}

TEST_CASE("each defect of the catalogue can be fitted to some product", "[emulated][defects]") {
  rig::Product all = wired::product();
  all.service = rig::ServicePort{};
  all.service->hang = {'!'};
  for (const char* name : {"firmware", "table"}) {
    all.service->questions.push_back({name, {'?'}, {'\n'}, 0, "([0-9a-f]+)", rig::AnswerIs::release, "12ab"});
  }
  for (const auto& kind : drivers::list_defects()) {
    CAPTURE(kind.name);
    CHECK_NOTHROW(Stand{{std::string{kind.name}.c_str()}, {}, wired::bench(), all});
  }
}

TEST_CASE("a defect of a wire is refused where the product has no such wire, with what there is",
          "[emulated][defects]") {
  CHECK_THROWS_WITH(Stand{{"open_through@manifold_pressure"}}, Catch::Contains("Name a 5 V rail of the product"));
  CHECK_THROWS_WITH(Stand{{"worn_contact@oil_pressure"}}, Catch::Contains("'speed' or 'ground'"));
  CHECK_THROWS_WITH(Stand{{"wrong_threshold@middle"}}, Catch::Contains("'low', 'high' or 'hysteresis'"));
  CHECK_THROWS_WITH((Stand{{"cross_feed"}, {}, sample::bench(), sample::product()}),
                    Catch::Contains("one 5 V rail only"));
  rig::Product made = wired::product();
  made.speed.routing = rig::SpeedRouting::regenerated;
  made.temperature->routing = rig::TemperatureRouting::redriven;
  for (const char* text : {"own_pull_up", "open_through@speed", "open_through@intake_temperature"}) {
    CAPTURE(text);
    CHECK_THROWS_AS((Stand{{text}, {}, wired::bench(), made}), rig::RigFault);
  }
  made.straight_through = true;
  for (const char* text : {"gain", "wrong_sign", "weak_output", "half_power_clamp", "tenth_start_glitch"}) {
    CHECK_THROWS_WITH((Stand{{text}, {}, wired::bench(), made}), Catch::Contains("straight-through plug"));
  }
}
