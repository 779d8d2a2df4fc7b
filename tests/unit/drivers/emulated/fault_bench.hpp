#pragma once

#include <string>

#include "tests/unit/drivers/emulated/wired_bench.hpp"

/// The wired bench with a fault bus to which every wire can be joined.
namespace faulty {

using namespace wired;
using rig::ConnectorSide;

/// The number of a port by its name.
inline int number(const rig::BenchSetup& setup, const std::string& name) {
  for (std::size_t i = 0; i < setup.ports.size(); ++i) {
    if (setup.ports[i].name == name) return static_cast<int>(i);
  }
  throw std::out_of_range{name};
}

/// Relays are called after their wire: WIRE_worn, WIRE_break, WIRE_to_bus on the sensors' side, WIRE_out_... on the
/// controller's; ties bus_ground, bus_reference, bus_battery, bus_bias_up, bus_bias_down. Contacts have 0.1 ohm.
inline rig::BenchSetup fault_bench(bool perfect = true) {
  rig::BenchSetup setup = wired::bench(perfect);
  const auto relay = [&](const std::string& name) {
    rig::Port made = setup.ports[load];
    made.name = name;
    setup.ports.push_back(made);
    return port(static_cast<int>(setup.ports.size()) - 1);
  };
  rig::FaultBus& bus = setup.wiring.faults;
  const auto tie = [&](const char* name, double ohms) {
    return rig::FaultBus::Tie{relay(std::string{"bus_"} + name), rig::Ohms{ohms}, 0.01};
  };
  bus.ground = tie("ground", 10), bus.reference = tie("reference", 10), bus.battery = tie("battery", 10);
  bus.bias_up = tie("bias_up", 10e3), bus.bias_down = tie("bias_down", 10e3);
  const auto wire = [&](const std::string& name, ConnectorSide side, bool breaks, double worn, bool to_bus = true) {
    const std::string of = name + (side == ConnectorSide::controller ? "_out_" : "_");
    rig::WireSwitches made{name, side, {}, {}, {}};
    if (breaks) made.break_relay = relay(of + "break");
    if (worn > 0) made.worn = rig::WornContact{relay(of + "worn"), rig::Ohms{worn}, 0.01};
    if (to_bus) made.to_bus = relay(of + "to_bus");
    bus.wires.push_back(made);
  };
  for (const char* line : {"charge_pressure", "manifold_pressure", "intake_temperature"}) {
    wire(line, ConnectorSide::sensor, false, 1000);
    wire(line, ConnectorSide::controller, true, 0);
  }
  wire("speed", ConnectorSide::sensor, true, 1000);
  wire("speed", ConnectorSide::controller, true, 0);
  for (const char* rail : {"rail_5v", "rail_5v_2"}) {
    wire(rail, ConnectorSide::sensor, false, 0);
    wire(rail, ConnectorSide::controller, true, 10);
  }
  wire("battery", ConnectorSide::controller, true, 5);
  wire("ground", ConnectorSide::controller, false, 2, false);
  wire("bypass_request", ConnectorSide::controller, true, 0);
  for (const int supply : {int{rail}, int{second_rail}})
    setup.ports[static_cast<std::size_t>(supply)].current_limit = rig::Amperes{0.5};
  setup.ports[battery].current_limit = rig::Amperes{3};
  setup.ports[speed_source].resistance = rig::Ohms{25};  // of its drain
  setup.ports[battery_current].high = 4;
  for (const P sense : {charge_in, charge_out, manifold_in, manifold_out, temperature_in, temperature_out,
                        rail_controller, rail_sensor}) {
    setup.ports[static_cast<std::size_t>(sense)].high = 20;
  }
  for (const char* name : {"speed_in", "speed_out"}) {
    rig::Port sense = setup.ports[rail_sensor];
    sense.name = name;
    sense.settling = 2us;
    setup.ports.push_back(sense);
  }
  setup.wiring.speed.sense_in = port(number(setup, "speed_in"));
  setup.wiring.speed.sense_out = port(number(setup, "speed_out"));
  setup.calibration.resize(setup.ports.size());
  return setup;
}

/// A stand whose relays are called by name.
struct FaultStand : wired::Stand {
  explicit FaultStand(std::vector<const char*> troubles = {}, rig::BenchSetup with = fault_bench())
      : wired::Stand{{}, std::move(troubles), std::move(with)} {}
  void close(Script& script, const std::string& name) const { wired::relay(script, number(setup, name), true); }
  void open(Script& script, const std::string& name) const { wired::relay(script, number(setup, name), false); }
  double volts(std::size_t slice, const std::string& name) const { return at(slice, number(setup, name)); }
  /// Whether a port was found at its limit within a slice.
  bool limited(std::size_t slice, int of) const {
    for (const rig::RigFlag& flag : played.slices[slice].flags) {
      if (flag.kind == rig::RigFlag::Kind::current_limited && flag.port == port(of)) return true;
    }
    return false;
  }
};

}  // namespace faulty
