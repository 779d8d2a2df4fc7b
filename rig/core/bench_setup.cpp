#include "rig/core/bench_setup.hpp"

#include <algorithm>

namespace rig {
namespace {

/// What a port of this kind can capture when its description leaves that open.
std::uint32_t usual_captures(PortKind kind) {
  switch (kind) {
    case PortKind::voltage_sense:
    case PortKind::current_sense:
    case PortKind::temperature_sense:
      return bit(CaptureKind::samples) | bit(CaptureKind::envelope) | bit(CaptureKind::triggered);
    case PortKind::edge_sense:
      return bit(CaptureKind::edges);
    case PortKind::service_port:
      return bit(CaptureKind::bytes);
    default:
      return 0;
  }
}

}  // namespace

const LineWiring* Wiring::line(std::string_view channel) const {
  const auto found = std::find_if(lines.begin(), lines.end(), [&](const auto& l) { return l.channel == channel; });
  return found == lines.end() ? nullptr : &*found;
}

const RailWiring* Wiring::rail(std::string_view name) const {
  const auto found = std::find_if(rails.begin(), rails.end(), [&](const auto& r) { return r.rail == name; });
  return found == rails.end() ? nullptr : &*found;
}

std::vector<PortId> closed_at_rest(const Wiring& wiring) {
  std::vector<PortId> relays;
  for (const LineWiring& line : wiring.lines)
    if (line.fault_switch) relays.push_back(*line.fault_switch);
  if (wiring.speed.pull_up_switch) relays.push_back(*wiring.speed.pull_up_switch);
  if (wiring.ground.break_relay) relays.push_back(*wiring.ground.break_relay);
  for (const WireSwitches& wire : wiring.faults.wires)
    if (wire.break_relay) relays.push_back(*wire.break_relay);
  return relays;
}

const WireSwitches* FaultBus::wire(std::string_view name, ConnectorSide side) const {
  const auto found =
      std::find_if(wires.begin(), wires.end(), [&](const WireSwitches& w) { return w.wire == name && w.side == side; });
  return found == wires.end() ? nullptr : &*found;
}

std::optional<PortId> break_of(const Wiring& wiring, std::string_view wire, ConnectorSide side) {
  if (const LineWiring* line = wiring.line(wire); line && side == ConnectorSide::sensor) return line->fault_switch;
  if (wire == "ground") return wiring.ground.break_relay;
  const WireSwitches* switches = wiring.faults.wire(wire, side);
  return switches ? switches->break_relay : std::nullopt;
}

Capabilities capabilities_of(const BenchSetup& setup) {
  const bool over_a_link = setup.driver == "board";
  Capabilities can;
  can.identity = (over_a_link ? "rig board of bench " : "emulated bench ") + setup.name;
  can.ports = setup.ports;
  for (Port& port : can.ports) {
    if (port.captures == 0) port.captures = usual_captures(port.kind);
  }
  can.set_points = bit(SetPointKind::step) | bit(SetPointKind::ramp) | bit(SetPointKind::speed_piece) |
                   bit(SetPointKind::open) | bit(SetPointKind::grounded) | bit(SetPointKind::relay);
  const auto converses = [](const Port& port) { return port.kind == PortKind::service_port; };
  if (std::any_of(can.ports.begin(), can.ports.end(), converses)) can.set_points |= bit(SetPointKind::exchange);
  can.features = static_cast<std::uint32_t>(Feature::until_on_bench);
  if (over_a_link) {
    can.features |= static_cast<std::uint32_t>(Feature::paced);
    can.append_lead = std::chrono::milliseconds{20};
    can.tick_tolerance_ppm = 50;                    // a plain crystal
    can.link_bytes_per_second = setup.baud / 10.0;  // a start and a stop bit around each byte
  }
  return can;
}

}  // namespace rig
