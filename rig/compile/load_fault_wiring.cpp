#include "rig/compile/bench_reader.hpp"

/// What a bench can do to wires on purpose: one bus, what it can be tied to, and the switches of each wire.
namespace rig {

using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;

void BenchReader::read_faults(const Node& node) {
  MapReader map{node, complaints_, "`faults`"};
  if (const Node* bus = map.find("bus")) read_bus(*bus);
  if (const Node* wires = map.need("wires", "[{wire: manifold_pressure, side: sensor, to_bus: manifold_to_bus}]"))
    for (const Node& item : yaml::items(*wires, 1, 64, "the wires", complaints_))
      read_wire(item, bench_.wiring.faults.wires.size());
}

void BenchReader::read_bus(const Node& node) {
  FaultBus& bus = bench_.wiring.faults;
  MapReader map{node, complaints_, "the fault bus"};
  bus.ground = read_tie(map, "ground");
  bus.reference = read_tie(map, "reference");
  bus.battery = read_tie(map, "battery");
  bus.bias_up = read_tie(map, "bias_up");
  bus.bias_down = read_tie(map, "bias_down");
}

std::optional<FaultBus::Tie> BenchReader::read_tie(MapReader& map, std::string_view key) {
  const Node* node = map.find(key);
  if (!node) return std::nullopt;
  FaultBus::Tie tie{};
  MapReader inner{*node, complaints_, fmt::format("`{}`", key)};
  need_port(inner, "relay", tie.relay, {PortKind::relay});
  const bool bias = key.starts_with("bias");
  inner.need("resistance", tie.resistance,
             bias ? Allowed<Ohms>{Ohms{1e3}, Ohms{1e7}} : Allowed<Ohms>{Ohms{1}, Ohms{1e3}},
             bias ? "10 kohm" : "10 ohm");
  if (const Node* error = inner.find("error"))
    yaml::read_share(*error, tie.error, {0, 0.2}, "value", yaml::SayOf::may, complaints_);
  return tie;
}

/// Every wire that the rest of the wiring knows of.
std::vector<std::string> BenchReader::wire_names() const {
  std::vector<std::string> names{"speed", "battery", "ground"};
  if (bench_.wiring.bypass_request) names.emplace_back("bypass_request");
  for (const LineWiring& line : bench_.wiring.lines) names.push_back(line.channel);
  for (const RailWiring& rail : bench_.wiring.rails) names.push_back(rail.rail);
  return names;
}

void BenchReader::read_wire(const Node& node, std::size_t number) {
  WireSwitches wire;
  MapReader map{node, complaints_, fmt::format("wire {}", number + 1)};
  if (map.need_name("wire", wire.wire, "manifold_pressure")) map.one_of(*map.find("wire"), wire_names(), "wire");
  map.need_choice("side", wire.side, {{"sensor", ConnectorSide::sensor}, {"controller", ConnectorSide::controller}},
                  "sensor");
  if (bench_.wiring.faults.wire(wire.wire, wire.side))
    map.refuse("wire", fmt::format("the switches of '{}' on this side are there already", wire.wire),
               "Name each wire once a side");
  may_port(map, "break", wire.break_relay, {PortKind::relay});
  const bool elsewhere = wire.wire == "ground" || (wire.side == ConnectorSide::sensor && bench_.wiring.line(wire.wire));
  if (wire.break_relay && elsewhere)
    map.refuse("break", fmt::format("the break of '{}' is not named here", wire.wire),
               wire.wire == "ground" ? "Name it as `break` of the ground" : "Name it as `fault_switch` of the line");
  if (const Node* worn = map.find("worn")) {
    WornContact contact{};
    MapReader inner{*worn, complaints_, "`worn`"};
    need_port(inner, "relay", contact.relay, {PortKind::relay});
    inner.need("resistance", contact.resistance, Allowed<Ohms>{Ohms{0.1}, Ohms{1e6}}, "1 kohm");
    if (const Node* error = inner.find("error"))
      yaml::read_share(*error, contact.error, {0, 0.2}, "value", yaml::SayOf::may, complaints_);
    wire.worn = contact;
  }
  may_port(map, "to_bus", wire.to_bus, {PortKind::relay});
  if (!map.find("break") && !map.find("worn") && !map.find("to_bus"))
    complaints_.add(map.place(), fmt::format("{} has no switch", map.subject()),
                    "Name one: `break`, `worn` or `to_bus`, or take the wire out");
  bench_.wiring.faults.wires.push_back(std::move(wire));
}

}  // namespace rig
