#include <algorithm>

#include "rig/compile/load_parts.hpp"

/// A bench's ports: what each of its instruments can do.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

std::string_view word_of(PortKind kind) {
  switch (kind) {
    case PortKind::supply:
      return "supply";
    case PortKind::voltage_source:
      return "voltage_source";
    case PortKind::resistance_source:
      return "resistance_source";
    case PortKind::pulse_source:
      return "pulse_source";
    case PortKind::relay:
      return "relay";
    case PortKind::voltage_sense:
      return "voltage_sense";
    case PortKind::current_sense:
      return "current_sense";
    case PortKind::edge_sense:
      return "edge_sense";
    case PortKind::service_port:
      return "service_port";
    case PortKind::interlock:
      return "interlock";
    case PortKind::temperature_sense:
      return "temperature_sense";
  }
  return "";
}

namespace {

/// What a port of a kind can capture when its file does not say otherwise.
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

bool is_sense(PortKind kind) {
  return kind == PortKind::voltage_sense || kind == PortKind::current_sense || kind == PortKind::temperature_sense;
}
bool is_source(PortKind kind) {
  return kind == PortKind::supply || kind == PortKind::voltage_source || kind == PortKind::resistance_source;
}

/// Range, resolution and accuracy. `Step` is the quantity of a difference: kelvins where the range is in degrees.
template <class Q, class Step = Q>
void read_level(MapReader& map, Port& port, Allowed<Q> widest) {
  const Step most{widest.high.value()};
  Q low{}, high{};
  Step resolution{}, offset{};
  if (const Node* range = map.need("range", "[0 V, 5.5 V]");
      range && read_range<Q>(*range, low, high, widest, "the range", map.complaints()))
    port.low = low.value(), port.high = high.value();
  if (map.need("resolution", resolution, Allowed<Step>{Step{1e-9}, most}, "1 mV")) {
    port.resolution = resolution.value();
    if (port.high > port.low && port.resolution > (port.high - port.low) / 16)
      map.refuse("resolution", "one step is more than a sixteenth of the range", "Check its unit");
  }
  const Node* accuracy = map.need("accuracy", "{offset: 1 mV, gain: 0.02 % of value}");
  if (!accuracy) return;
  MapReader inner{*accuracy, map.complaints(), "`accuracy`"};
  if (inner.need("offset", offset, Allowed<Step>{Step{0}, most}, "1 mV")) port.accuracy.offset = offset.value();
  if (const Node* gain = inner.need("gain", "0.02 % of value"))
    yaml::read_share(*gain, port.accuracy.gain, {0, 0.5}, "value", yaml::SayOf::must, map.complaints());
}

void read_levels(MapReader& map, Port& port) {
  switch (port.kind) {
    case PortKind::resistance_source:
      return read_level<Ohms>(map, port, {Ohms{-1e8}, Ohms{1e8}});
    case PortKind::current_sense:
      return read_level<Amperes>(map, port, {Amperes{-100}, Amperes{100}});
    case PortKind::supply:
    case PortKind::voltage_source:
    case PortKind::voltage_sense:
      return read_level<Volts>(map, port, {Volts{-60}, Volts{60}});
    case PortKind::temperature_sense:
      return read_level<Celsius, Kelvins>(map, port, {Celsius{-60}, Celsius{300}});
    default:
      return;
  }
}

void read_captures(MapReader& map, Port& port) {
  port.captures = usual_captures(port.kind);
  const Node* list = map.find("captures");
  if (!list) return;
  port.captures = 0;
  for (const Node& item : yaml::items(*list, 1, 5, "the captures", map.complaints())) {
    CaptureKind kind{};
    if (yaml::read_choice(item, kind,
                          {{"samples", CaptureKind::samples},
                           {"envelope", CaptureKind::envelope},
                           {"edges", CaptureKind::edges},
                           {"triggered", CaptureKind::triggered},
                           {"bytes", CaptureKind::bytes}},
                          "captures", map.complaints()))
      port.captures |= bit(kind);
  }
}

void read_source(MapReader& map, Port& port) {
  map.may("current_limit", port.current_limit, Allowed<Amperes>{Amperes{0.0001}, Amperes{50}});
  double slew = 0;
  if (map.may("slew_per_second", slew, Allowed<double>{0.1, 1e9})) port.slew_per_second = slew;
  map.may("leakage", port.leakage, Allowed<Amperes>{Amperes{0}, Amperes{0.01}});
  map.may("sinks", port.sinks);
}

/// When a sense looks, and from which side of its line's fault switch.
void read_sense(MapReader& map, Port& port) {
  map.may("skew", port.skew, Allowed<Nanoseconds>{-10ms, 10ms});
  map.may("skew_error", port.skew_error, Allowed<Nanoseconds>{0ns, 10ms});
  if (port.kind != PortKind::temperature_sense) {
    if (const Node* side = map.find("fault_switch_side"))
      yaml::read_choice(*side, port.module_side_of_fault_switch, {{"module", true}, {"source", false}},
                        "fault_switch_side", map.complaints());
  }
  if (!is_sense(port.kind)) return;
  map.need("shortest_period", port.shortest_period, Allowed<Nanoseconds>{100ns, 1ms}, "20 us");
  map.may("aperture", port.aperture, Allowed<Nanoseconds>{0ns, 1ms});
  map.may("scanned", port.scanned);
  if (port.kind == PortKind::voltage_sense)
    map.may("leakage", port.leakage, Allowed<Amperes>{Amperes{0}, Amperes{0.01}});
}

bool read_kind(MapReader& map, Port& port) {
  const Node* kind = map.need("kind", "voltage_source");
  return kind && yaml::read_choice(*kind, port.kind,
                                   {{"supply", PortKind::supply},
                                    {"voltage_source", PortKind::voltage_source},
                                    {"resistance_source", PortKind::resistance_source},
                                    {"pulse_source", PortKind::pulse_source},
                                    {"relay", PortKind::relay},
                                    {"voltage_sense", PortKind::voltage_sense},
                                    {"current_sense", PortKind::current_sense},
                                    {"edge_sense", PortKind::edge_sense},
                                    {"service_port", PortKind::service_port},
                                    {"interlock", PortKind::interlock},
                                    {"temperature_sense", PortKind::temperature_sense}},
                                   "kind", map.complaints());
}

}  // namespace

Port read_port(const Node& node, std::size_t number, const std::vector<std::string>& before,
               PlacedComplaints& complaints) {
  Port port;
  MapReader map{node, complaints, fmt::format("port {}", number + 1)};
  if (map.need_name("name", port.name, "battery")) {
    if (std::find(before.begin(), before.end(), port.name) != before.end())
      complaints.add(map.find("name")->place, fmt::format("port '{}' is there twice", port.name),
                     "Give each port its own name");
  }
  if (!read_kind(map, port)) {
    // Which keys belong to the port depends on its kind: without one, none is called unknown.
    if (node.kind == Node::Kind::map)
      for (const yaml::Entry& entry : node.entries) map.find(entry.key);
    return port;
  }
  read_levels(map, port);
  if (port.kind == PortKind::pulse_source) {
    Rpm highest{12000};
    map.may("highest", highest, Allowed<Rpm>{Rpm{100}, Rpm{30000}});
    port.high = highest.value();
    map.may("open_drain", port.open_drain);
  }
  if (is_source(port.kind) || is_sense(port.kind))
    map.need("settling", port.settling, Allowed<Nanoseconds>{0ns, 60s}, "50 us");
  if (is_source(port.kind)) read_source(map, port);
  if (is_sense(port.kind) || port.kind == PortKind::edge_sense) read_sense(map, port);
  if (port.kind == PortKind::relay) map.need("travel", port.travel, Allowed<Nanoseconds>{0ms, 100ms}, "4 ms");
  if (port.kind != PortKind::service_port && port.kind != PortKind::interlock &&
      port.kind != PortKind::temperature_sense)
    map.may("resistance", port.resistance, Allowed<Ohms>{Ohms{0}, Ohms{1e12}});
  if (usual_captures(port.kind)) read_captures(map, port);
  return port;
}

}  // namespace rig
