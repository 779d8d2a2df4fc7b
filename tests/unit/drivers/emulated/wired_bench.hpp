#pragma once

#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

/// The sample bench with all that a wire may need: two rails with sensor loads, grounds, second loads, sources that
/// limit and sink.
namespace wired {

using namespace sample;

/// Ports after those of sample::bench().
enum More {
  second_rail = bypass_request + 1,
  second_rail_controller,
  second_rail_sensor,
  rail_load,
  second_rail_load,
  charge_second_load,
  manifold_second_load,
  ground_sense,
  ground_break,
  ambient,
  fixture,
  temperature_switch,
  temperature_load
};

inline rig::Load to_ground(int relay, double ohms) { return rig::Load{port(relay), {{}, rig::Ohms{ohms}, {}}, 0.002}; }

inline rig::BenchSetup bench(bool perfect = true) {
  rig::BenchSetup setup = sample::bench(perfect);
  const auto copy = [&](int of, const char* name) -> rig::Port& {
    rig::Port made = setup.ports[static_cast<std::size_t>(of)];
    made.name = name;
    setup.ports.push_back(made);
    return setup.ports.back();
  };
  copy(rail, "second_rail");
  copy(rail_controller, "second_rail_controller");
  copy(rail_sensor, "second_rail_sensor");
  for (const char* name : {"rail_load", "second_rail_load", "charge_second_load", "manifold_second_load"}) {
    copy(load, name);
  }
  rig::Port& ground = copy(rail_sensor, "ground_sense");
  ground.low = -0.5, ground.high = 0.5, ground.resolution = 0.00002, ground.accuracy = {0.00005, 0.0002};
  copy(load, "ground_break").resistance = rig::Ohms{0};
  for (const char* name : {"ambient", "fixture"}) {
    rig::Port& warmth = copy(rail_sensor, name);
    warmth.kind = rig::PortKind::temperature_sense;
    warmth.low = -40, warmth.high = 125, warmth.resolution = 0.05, warmth.accuracy = {0.5, 0};
  }
  copy(load, "temperature_switch");
  copy(load, "temperature_load");
  setup.calibration.resize(setup.ports.size());
  for (const int source : {charge_source, manifold_source, temperature_source}) {
    rig::Port& p = setup.ports[static_cast<std::size_t>(source)];
    p.current_limit = rig::Amperes{0.01};
    p.sinks = true;
  }
  rig::Wiring& w = setup.wiring;
  w.rails[0].sensor_load = to_ground(rail_load, 500);
  w.rails.push_back({"rail_5v_2", port(second_rail), port(second_rail_controller), port(second_rail_sensor),
                     to_ground(second_rail_load, 250)});
  w.lines[0].second_load = to_ground(charge_second_load, 10e3);
  w.lines[1].second_load = to_ground(manifold_second_load, 10e3);
  w.lines[2].fault_switch = port(temperature_switch);
  w.lines[2].load = rig::Load{port(temperature_load), {}, 0.002};
  w.ground = {port(ground_sense), port(ground_break)};
  w.ambient = port(ambient), w.fixture = port(fixture);
  return setup;
}

/// The manifold pressure and the temperature hang on a second rail.
inline rig::Product product() {
  rig::Product p = sample::product();
  p.rails.push_back(p.rails[0]);
  p.rails[1].name = "rail_5v_2";
  p.pressures[1].rail = 1;
  p.temperature->rail = 1;
  p.build.ground_resistance = rig::Ohms{0.03};
  p.build.idle_current = rig::Amperes{0.06};
  return p;
}

/// Plays scripts on a unit of that product and reads back what its ports saw.
struct Stand {
  explicit Stand(std::vector<const char*> defects = {}, std::vector<const char*> troubles = {},
                 rig::BenchSetup with = wired::bench(), rig::Product fitted = wired::product())
      : setup{std::move(with)} {
    drivers::EmulatedUnit unit{"A00001", {}, true};
    for (const char* text : defects) unit.defects.push_back(std::get<drivers::Defect>(drivers::parse_defect(text)));
    std::vector<drivers::BenchTrouble> wrong;
    for (const char* text : troubles) {
      wrong.push_back(std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text)));
    }
    driver = drivers::open_emulated(setup, std::make_shared<const rig::Product>(std::move(fitted)), unit, wrong);
    what = plan(setup);
  }
  void play(const Script& script) { played = sample::play(*driver, what, script.segments); }
  std::size_t track_of(int of) const {
    std::size_t number = 0;
    while (what.capture.tracks[number].port != port(of)) ++number;
    return number;
  }
  rig::EnvelopeBin bin(std::size_t slice, int of, std::size_t which) const {
    const std::size_t t = track_of(of);
    return rig::envelope_bin(played.tracks[t], played.slices[slice].tracks[t], which);
  }
  std::size_t bins(std::size_t slice) const { return played.slices[slice].tracks[0].values.size() / 3; }
  /// Mean of the last bin of a slice.
  double at(std::size_t slice, int of) const { return bin(slice, of, bins(slice) - 1).mean; }

  rig::BenchSetup setup;
  std::unique_ptr<drivers::Bench> driver;
  drivers::SessionPlan what;
  drivers::Played played;
};

inline Script& set(Script& script, int of, double volts) {
  return script.add(rig::SetOutput{port(of), rig::Volts{volts}});
}
inline Script& relay(Script& script, int of, bool closed) { return script.add(rig::SetRelay{port(of), closed}); }
inline Script& open(Script& script, int of) { return script.add(rig::SetOutput{port(of), rig::HighImpedance{}}); }

/// Unit fitted, first loads in, battery and both rails on, sensors at moderate levels; 400 ms, so that it works.
inline Script powered() {
  Script script;
  script.relay(isolator, true).relay(load, true);
  relay(script, temperature_load, true).hold(20ms);
  set(script.set(battery, 13.8).set(rail, 5), second_rail, 5);
  script.set(charge_source, 2).set(manifold_source, 2).set(temperature_source, 2.5).hold(400ms);
  return script;
}

}  // namespace wired
