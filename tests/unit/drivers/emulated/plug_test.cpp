// A straight-through plug: every line joined to itself, nothing else.
#include <cmath>

#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace wired;

namespace {

rig::Product plug() {
  rig::Product p = wired::product();
  p.straight_through = true;
  p.service = rig::ServicePort{};
  p.service->questions = {{"serial", {'?'}, {'\n'}, 0, "(.+)", rig::AnswerIs::unit_serial, ""}};
  return p;
}

Script powered_and_turning() {
  Script script = powered();
  script.kpa(charge_source, 210).kpa(manifold_source, 200).rpm(3500);
  relay(relay(script, rail_load, true), second_rail_load, true).hold(500ms);
  return script;
}

}  // namespace

TEST_CASE("a plug joins each line to itself through a little copper, whatever speed and pressure", "[emulated][plug]") {
  Stand stand{{}, {}, wired::bench(), plug()};
  stand.play(powered_and_turning());
  for (const std::size_t slice : {1u, 2u}) {
    for (const auto& [in, out] : {std::pair{charge_in, charge_out}, {manifold_in, manifold_out}}) {
      CHECK(stand.at(slice, in) == Approx(stand.at(slice, out)).margin(0.001));
    }
    CHECK(stand.at(slice, temperature_in) == Approx(stand.at(slice, temperature_out)).margin(0.002));
  }
  CHECK(stand.at(2, rail_controller) - stand.at(2, rail_sensor) < 0.005);
  CHECK(stand.at(2, rail_sensor) > 4.95);
  CHECK(std::abs(stand.at(2, ground_sense)) < 0.005);
}

TEST_CASE("a plug draws nothing, never works and has the same edges on both sides", "[emulated][plug]") {
  Stand stand{{}, {}, wired::bench(), plug()};
  stand.play(powered_and_turning());
  for (const std::size_t slice : {1u, 2u}) CHECK(std::abs(stand.at(slice, battery_current)) < 0.0002);
  const auto edges = [&](P capture) {
    return rig::recorded_edges(stand.played.slices[2].tracks[stand.track_of(capture)], 10'000'000);
  };
  const auto in = edges(edges_in), out = edges(edges_out);
  REQUIRE(in.size() > 50);
  REQUIRE(in.size() == out.size());
  for (std::size_t i = 0; i < in.size(); ++i) CHECK(in[i].at == out[i].at);
}

TEST_CASE("a plug has nothing to say", "[emulated][plug][service]") {
  rig::BenchSetup setup = wired::bench();
  rig::Port service;
  service.name = "service", service.kind = rig::PortKind::service_port;
  setup.ports.push_back(service);
  setup.calibration.resize(setup.ports.size());
  const rig::PortId id = port(static_cast<int>(setup.ports.size()) - 1);
  setup.wiring.service = id;
  Stand stand{{}, {}, setup, plug()};
  stand.what.capture.tracks.push_back({id, rig::CaptureKind::bytes, 1ms, true, {}});
  Script script = powered();
  script.add(rig::Exchange{id, {'?'}, {'\n'}, 0, 20ms, 1}).hold(100ms);
  stand.play(script);
  CHECK(stand.played.slices[2].tracks.back().values.empty());
}

TEST_CASE("a plug's wires can be worn or broken, so that a baseline is known to see it", "[emulated][plug]") {
  Stand stand{{"worn_contact=30@manifold_pressure", "open_through@rail_5v_2"}, {}, wired::bench(), plug()};
  Script script = powered();
  relay(script, manifold_second_load, true).hold(100ms);
  stand.play(script);
  CHECK(stand.at(2, manifold_in) - stand.at(2, manifold_out) > 0.005);
  CHECK(stand.at(2, second_rail_sensor) < 0.1);
}
