// Temperature lines: a source that sinks or a resistance, with the pull-up where the product says.
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

namespace {

rig::BenchSetup with_resistance() {
  rig::BenchSetup setup = wired::bench();
  rig::Port& source = setup.ports[temperature_source];
  source.kind = rig::PortKind::resistance_source;
  source.low = 10, source.high = 100e3, source.resolution = 0.1, source.current_limit = {}, source.sinks = false;
  setup.wiring.lines[2].second_load = rig::Load{port(manifold_second_load), {{}, rig::Ohms{10e3}, {}}, 0.002};
  setup.wiring.lines[1].second_load = {};
  return setup;
}

Script warm(double ohms) {
  Script script;
  script.relay(isolator, true);
  relay(script, temperature_load, true).hold(20ms);
  set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
  script.add(rig::SetOutput{port(temperature_source), rig::Ohms{ohms}}).hold(300ms);
  relay(script, manifold_second_load, true).hold(50ms);
  relay(script, temperature_switch, false).hold(50ms);
  return script;
}

}  // namespace

TEST_CASE("a thermistor's resistance divides the rail with the controller's pull-up", "[emulated][temperature]") {
  Stand stand{{}, {}, with_resistance()};
  stand.play(warm(2000));
  const auto divided = [&](double pulls_down) { return 5 / (1 + 2200 * pulls_down); };
  const double leaks = 1 / 2.2e6 + 2 / 10e6;
  CHECK(stand.at(1, temperature_out) == Approx(divided(1 / 2000.1 + leaks)).margin(0.001));
  CHECK(stand.at(2, temperature_out) == Approx(divided(1 / 2000.1 + leaks + 1 / 10e3)).margin(0.001));
  CHECK(stand.at(3, temperature_out) == Approx(divided(leaks + 1 / 10e3)).margin(0.002));  // open: the sensor is gone
}

TEST_CASE("a pull-up in the module is there without the bench's load, and one in both makes up the curve's",
          "[emulated][temperature]") {
  rig::Product product = wired::product();
  const double leaks = 1 / 2.2e6 + 2 / 10e6;
  const auto output = [&](rig::PullUpPlace place, bool loaded) {
    product.temperature->pull_up_at = place;
    Stand stand{{}, {}, with_resistance(), product};
    Script script = warm(2000);
    if (!loaded) script.segments[0].events.erase(script.segments[0].events.begin() + 1);
    stand.play(script);
    return stand.at(1, temperature_out);
  };
  const double expected = 5 / (1 + 2200 * (1 / 2000.1 + leaks));
  CHECK(output(rig::PullUpPlace::module, false) == Approx(expected).margin(0.002));
  CHECK(output(rig::PullUpPlace::both, true) == Approx(expected).margin(0.002));
  CHECK(output(rig::PullUpPlace::both, false) == Approx(5 / (1 + 4400 * (1 / 2000.1 + leaks))).margin(0.002));
  CHECK(output(rig::PullUpPlace::controller, false) == Approx(0).margin(0.001));
}

TEST_CASE("a wire that is broken in the unit leaves the controller its pull-up", "[emulated][temperature]") {
  Stand stand{{"open_through=1@intake_temperature"}, {}, with_resistance()};
  stand.play(warm(2000));
  CHECK(stand.at(1, temperature_out) > 4.99);
  CHECK(stand.at(1, temperature_in) == Approx(0).margin(0.001));
}

TEST_CASE("a product of one rail works on a bench that is wired for two", "[emulated][rails]") {
  Stand stand{{}, {}, wired::bench(), sample::product()};
  stand.play(powered());
  CHECK(stand.at(1, rail_sensor) == Approx(5).margin(0.002));
  CHECK(stand.at(1, second_rail_controller) == Approx(0).margin(0.001));  // its wires end at an empty connector
  CHECK(stand.at(1, battery_current) == Approx(0.06).margin(0.001));
  CHECK(stand.at(1, manifold_out) == Approx(stand.at(1, manifold_in)).margin(0.006));
}

TEST_CASE("a product of two rails works only while both are there", "[emulated][rails]") {
  Stand stand;
  Script script = powered();
  script.kpa(charge_source, 190).kpa(manifold_source, 180).rpm(3500).hold(200ms);
  set(script, second_rail, 0).hold(100ms);
  stand.play(script);
  CHECK(to_kpa(stand.at(2, manifold_in)) - to_kpa(stand.at(2, manifold_out)) > 15);
  CHECK(stand.at(3, manifold_in) == Approx(stand.at(3, manifold_out)).margin(0.001));
}
