#include "drivers/emulated/emulated_bench.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;

namespace {

drivers::Defect defect(const char* text) { return std::get<drivers::Defect>(drivers::parse_defect(text)); }

/// Unit fitted but without power, 150 kPa and 135 kPa at its inputs.
Script unpowered(bool load_in) {
  Script script;
  script.relay(isolator, true).relay(load, load_in).ground(battery).ground(rail).hold(10ms);
  script.kpa(charge_source, 150).kpa(manifold_source, 135).hold(50ms);
  return script;
}

}  // namespace

TEST_CASE("an unpowered unit passes its inputs on to millivolts under the controller's load", "[emulated][bypass]") {
  Bench bench;
  const auto played = bench.play(unpowered(true));
  for (const auto& [in, out] : {std::pair{charge_in, charge_out}, {manifold_in, manifold_out}}) {
    CHECK(std::abs(last(played, out) - last(played, in)) < 0.001);
  }
  SECTION("and the load shows at the pin, behind the sensor's own resistance") {
    const double open_circuit = 0.5 + 115 * 4.0 / 230;  // 135 kPa
    // 1 kohm of the sensor into 47 kohm, 2.2 Mohm of leakage and two senses of 10 Mohm.
    const double loads = 1 / (1 / 47e3 + 1 / 2.2e6 + 2 / 10e6);
    CHECK(last(played, manifold_in) == Approx(open_circuit * loads / (loads + 1000)).margin(0.0005));
  }
}

TEST_CASE("a bypass contact of 1 kohm shows 76 mV into 47 kohm and nothing without that load", "[emulated][bypass]") {
  // proving-a-module: "A corroded 1 kohm bypass contact shows 0.4 mV into 10 Mohm and 76 mV into a controller's 47
  // kohm"
  Bench bench{{defect("leaky_bypass")}};
  Script loaded = unpowered(true), bare = unpowered(false);
  for (Script* script : {&loaded, &bare}) script->kpa(manifold_source, 206).hold(50ms);
  const auto with = bench.play(loaded), without = bench.play(bare);
  CHECK(last(with, manifold_in) - last(with, manifold_out) == Approx(0.076).margin(0.003));
  CHECK(last(without, manifold_in) - last(without, manifold_out) == Approx(0.0004).margin(0.0003));
}

TEST_CASE("a unit without its failsafe leaves its output to the load when there is no power", "[emulated][bypass]") {
  Bench bench{{defect("no_bypass")}};
  const auto played = bench.play(unpowered(true));
  CHECK(last(played, manifold_out) < 0.01);                                          // pulled down
  CHECK(last(played, charge_out) == Approx(last(played, charge_in)).margin(0.001));  // the other channel has it
}

TEST_CASE("battery alone or 5 V alone leave the unit passing through", "[emulated][bypass]") {
  for (const P missing : {battery, rail}) {
    Script script;
    script.power_up().kpa(charge_source, 190).kpa(manifold_source, 180).rpm(3500).ground(missing).hold(600ms);
    const auto played = Bench{}.play(script);
    CHECK(std::abs(last(played, manifold_out) - last(played, manifold_in)) < 0.001);
    CHECK(last(played, battery_current) == Approx(missing == battery ? 0 : 0.06).margin(0.0005));
  }
}

TEST_CASE("a working unit takes its input to the output when the engine stands", "[emulated][pass_through]") {
  Script script;
  script.power_up().kpa(charge_source, 105).kpa(manifold_source, 100).hold(400ms);
  const auto played = Bench{}.play(script);
  // Two conversions of 12 bits and 47 ohm into 47 kohm.
  CHECK(last(played, manifold_out) == Approx(last(played, manifold_in)).margin(0.004));
  CHECK(last(played, charge_out) == Approx(last(played, charge_in)).margin(0.006));
}

TEST_CASE("asked to bypass, a working unit lets the input through copper and comes back after", "[emulated][bypass]") {
  Script script;
  script.power_up().kpa(charge_source, 190).kpa(manifold_source, 180).rpm(3500).hold(500ms);
  script.relay(bypass_request, true).hold(100ms);
  script.relay(bypass_request, false).hold(150ms);
  const auto played = Bench{}.play(script);
  const auto hidden = [&](std::ptrdiff_t slice) {
    return to_kpa(last(played, manifold_in, slice)) - to_kpa(last(played, manifold_out, slice));
  };
  CHECK(hidden(1) > 15);
  CHECK(std::abs(hidden(2)) < 0.1);
  CHECK(hidden(3) == Approx(hidden(1)).margin(0.2));
}

TEST_CASE("the output of a good unit reaches from one diagnostic rail to the other", "[emulated][rails]") {
  Script script;
  script.power_up().set(charge_source, 0.3).set(manifold_source, 0.3).hold(500ms);
  script.set(charge_source, 4.7).set(manifold_source, 4.7).hold(150ms);
  const auto good = Bench{}.play(script), shy = Bench{{defect("rail_shy")}}.play(script);
  CHECK(std::abs(last(good, manifold_out, 1) - last(good, manifold_in, 1)) < 0.01);
  CHECK(std::abs(last(good, manifold_out, 2) - last(good, manifold_in, 2)) < 0.05);
  CHECK(last(shy, manifold_out, 1) > 0.65);
  CHECK(last(shy, manifold_out, 2) < 4.35);
}

TEST_CASE("with the isolator open the unit is off every line, and loop-back joins each source to both senses",
          "[emulated][self_test]") {
  Script script;
  script.set(battery, 13.8).set(rail, 5).rpm(3000).set(charge_source, 2.5).set(manifold_source, 3).hold(100ms);
  script.relay(loop_back, true).hold(50ms);
  script.relay(manifold_switch, false).hold(50ms);
  const auto played = Bench{}.play(script);
  CHECK(last(played, battery_current, 0) == Approx(0).margin(0.0002));
  CHECK(last(played, manifold_in, 0) == Approx(3).margin(0.001));
  CHECK(last(played, manifold_out, 0) == Approx(0).margin(0.001));
  CHECK(last(played, manifold_out, 1) == Approx(3).margin(0.001));
  CHECK(last(played, charge_out, 1) == Approx(2.5).margin(0.001));
  // an open drain makes no edges where no pull-up reaches it
  CHECK(played.slices[0].tracks[track_of(edges_in)].values.empty());
  CHECK(played.slices[0].tracks[track_of(edges_out)].values.empty());
  CHECK(played.slices[1].tracks[track_of(edges_in)].values.size() >= 4);
  CHECK(played.slices[1].tracks[track_of(edges_out)].values.size() >= 4);
  CHECK(last(played, manifold_in, 2) == Approx(0).margin(0.001));
  CHECK(last(played, standard) == Approx(2.5).margin(0.0005));
}

TEST_CASE("a relay takes effect a while after its command, within its travel", "[emulated][relay]") {
  Script script;
  script.set(manifold_source, 3).hold(20ms);
  script.relay(manifold_switch, false).hold(10ms);
  const auto played = Bench{}.play(script);
  CHECK(bin(played, 1, manifold_in, 1).low > 2.9);
  CHECK(bin(played, 1, manifold_in, 5).high < 0.1);
}
