#include "drivers/emulated/fault_bus.hpp"

#include <algorithm>

#include "drivers/emulated/noise.hpp"

namespace drivers::emulated {
namespace {

double contact(const rig::BenchSetup& setup, rig::PortId relay) { return setup.ports[index(relay)].resistance.value(); }

/// A resistor and the relay in series with it.
double with_relay(const rig::BenchSetup& setup, rig::PortId relay, rig::Ohms nominal, double error) {
  const double off = setup.perfect ? 0 : error * Chance{setup.seed, "fault", 0x800u + index(relay)}.symmetric(0);
  return nominal.value() * (1 + off) + contact(setup, relay);
}

std::optional<double> parallel(const std::optional<double>& a, const std::optional<double>& b) {
  if (!a || !b) return a ? a : b;
  return *a + *b > 0 ? *a * *b / (*a + *b) : 0;
}

}  // namespace

FaultBus::FaultBus(const rig::BenchSetup& setup) {
  using rig::ConnectorSide;
  const rig::Wiring& wiring = setup.wiring;
  const auto breaks = [&](const std::string& wire, ConnectorSide side) {
    if (const auto relay = break_of(wiring, wire, side)) {
      entry(wire, side).made = Switch{*relay, contact(setup, *relay), true};
    }
  };
  for (const rig::LineWiring& line : wiring.lines) breaks(line.channel, ConnectorSide::sensor);
  breaks("ground", ConnectorSide::controller);
  for (const rig::WireSwitches& wire : wiring.faults.wires) {
    breaks(wire.wire, wire.side);
    Wire& made = entry(wire.wire, wire.side);
    if (wire.worn) {
      const rig::WornContact& worn = *wire.worn;
      made.worn = Switch{worn.relay, with_relay(setup, worn.relay, worn.resistance, worn.error)};
    }
    if (wire.to_bus) made.to_bus = Switch{*wire.to_bus, contact(setup, *wire.to_bus)};
  }
  const auto tie = [&](const std::optional<rig::FaultBus::Tie>& of, std::optional<Switch>& to) {
    if (of) to = Switch{of->relay, with_relay(setup, of->relay, of->resistance, of->error)};
  };
  tie(wiring.faults.ground, ground_);
  tie(wiring.faults.reference, reference_);
  tie(wiring.faults.battery, battery_);
  tie(wiring.faults.bias_up, bias_up_);
  tie(wiring.faults.bias_down, bias_down_);
}

template <class F>
void FaultBus::for_each(F&& f) {
  for (Wire& wire : wires_) {
    for (auto* which : {&wire.made, &wire.worn, &wire.to_bus}) {
      if (*which) f(**which);
    }
  }
  for (auto* which : {&ground_, &reference_, &battery_, &bias_up_, &bias_down_}) {
    if (*which) f(**which);
  }
}

bool FaultBus::set_relay(rig::PortId relay, bool closed) {
  bool any = false;
  for_each([&](Switch& one) {
    if (one.relay != relay || one.closed == closed) return;
    one.closed = closed;
    any = true;
  });
  return any;
}

bool FaultBus::in_use() const {
  const auto closed = [](const std::optional<Switch>& one) { return one && one->closed; };
  return std::any_of(wires_.begin(), wires_.end(), [&](const Wire& wire) { return closed(wire.to_bus); }) ||
         closed(ground_) || closed(reference_) || closed(battery_) || closed(bias_up_) || closed(bias_down_);
}

FaultBus::Wire& FaultBus::entry(const std::string& name, rig::ConnectorSide side) {
  const auto found =
      std::find_if(wires_.begin(), wires_.end(), [&](const Wire& w) { return w.name == name && w.side == side; });
  return found != wires_.end() ? *found : wires_.emplace_back(Wire{name, side, {}, {}, {}});
}

const FaultBus::Wire* FaultBus::find(std::string_view name, rig::ConnectorSide side) const {
  const auto found =
      std::find_if(wires_.begin(), wires_.end(), [&](const Wire& w) { return w.name == name && w.side == side; });
  return found != wires_.end() ? &*found : nullptr;
}

std::optional<double> FaultBus::wire(std::string_view name, rig::ConnectorSide side) const {
  const Wire* wire = find(name, side);
  if (!wire || !wire->made) return 0;
  return parallel(wire->made->through(), wire->worn ? wire->worn->through() : std::nullopt);
}

std::optional<double> FaultBus::joint(std::string_view name, rig::ConnectorSide side) const {
  const Wire* wire = find(name, side);
  return wire && wire->to_bus ? wire->to_bus->through() : std::nullopt;
}

FaultBus::Ties FaultBus::ties() const {
  const auto through = [](const std::optional<Switch>& one) { return one ? one->through() : std::nullopt; };
  return {through(ground_), through(reference_), through(battery_), through(bias_up_), through(bias_down_)};
}

}  // namespace drivers::emulated
