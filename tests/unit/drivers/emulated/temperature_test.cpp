// The temperature line, by how the module sits in it.
#include <cmath>

#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

namespace {

rig::Product with(rig::TemperatureRouting routing, rig::PullUpPlace pull_up) {
  rig::Product p = wired::product();
  p.temperature->routing = routing;
  p.temperature->pull_up_at = pull_up;
  return p;
}

Script at_two_levels() {
  Script script = powered();
  script.set(temperature_source, 1.2).hold(300ms);
  open(script.open(battery).open(rail), second_rail).hold(200ms);
  return script;
}

double kelvin_off(const Stand& stand, std::size_t slice) {
  const rig::Product product = sample::product();
  const auto& curve = product.temperature->curve;
  const auto celsius = [&](int sense) { return curve.temperature(rig::Volts{stand.at(slice, sense)}, rig::Volts{5}); };
  return (celsius(temperature_out) - celsius(temperature_in)).value();
}

}  // namespace

TEST_CASE("a tapped temperature is the same copper on both sides, powered and not", "[emulated][temperature]") {
  for (const auto place : {rig::PullUpPlace::controller, rig::PullUpPlace::module, rig::PullUpPlace::both}) {
    Stand stand{{}, {}, wired::bench(), with(rig::TemperatureRouting::tapped, place)};
    stand.play(at_two_levels());
    for (const std::size_t slice : {1u, 2u, 3u}) {
      CHECK(stand.at(slice, temperature_out) == Approx(stand.at(slice, temperature_in)).margin(0.002));
    }
  }
}

TEST_CASE("a re-driven temperature follows to a few tenths of a kelvin against the controller's pull-up",
          "[emulated][temperature]") {
  for (const auto place : {rig::PullUpPlace::controller, rig::PullUpPlace::module, rig::PullUpPlace::both}) {
    Stand stand{{}, {}, wired::bench(), with(rig::TemperatureRouting::redriven, place)};
    stand.play(at_two_levels());
    CAPTURE(static_cast<int>(place));
    for (const std::size_t slice : {1u, 2u}) CHECK(std::abs(kelvin_off(stand, slice)) < 0.3);
    // unpowered: its relay joins the pins
    CHECK(stand.at(3, temperature_out) == Approx(stand.at(3, temperature_in)).margin(0.003));
  }
}

TEST_CASE("a re-driven temperature's source does not see the controller's pull-up while the module works",
          "[emulated][temperature]") {
  Stand stand{{}, {}, wired::bench(), with(rig::TemperatureRouting::redriven, rig::PullUpPlace::controller)};
  Script script = powered();
  relay(script, temperature_load, false).hold(200ms);
  stand.play(script);
  CHECK(stand.at(2, temperature_in) == Approx(stand.at(1, temperature_in)).margin(0.001));
  CHECK(stand.at(1, temperature_in) == Approx(2.5).margin(0.002));
}
