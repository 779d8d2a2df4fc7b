#include <algorithm>
#include <map>

#include "rig/compile/load_file.hpp"
#include "rig/compile/load_parts.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

constexpr std::size_t kMostPorts = 256;

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

/// What a port of a kind can capture when its file does not say otherwise.
std::uint32_t usual_captures(PortKind kind) {
  switch (kind) {
    case PortKind::voltage_sense:
    case PortKind::current_sense:
      return bit(CaptureKind::samples) | bit(CaptureKind::envelope) | bit(CaptureKind::triggered);
    case PortKind::edge_sense:
      return bit(CaptureKind::edges);
    case PortKind::service_port:
      return bit(CaptureKind::bytes);
    default:
      return 0;
  }
}

bool is_sense(PortKind kind) { return kind == PortKind::voltage_sense || kind == PortKind::current_sense; }
bool is_source(PortKind kind) {
  return kind == PortKind::supply || kind == PortKind::voltage_source || kind == PortKind::resistance_source;
}

class BenchReader {
 public:
  explicit BenchReader(PlacedComplaints& complaints) : complaints_{complaints} {}
  std::optional<BenchSetup> read(const Node& root);

 private:
  void read_driver(MapReader& file);
  void read_ports(const Node& node);
  Port read_port(const Node& node, std::size_t number);
  template <class Q>
  void read_level(MapReader& map, Port& port, Q widest);
  void read_captures(MapReader& map, Port& port);
  void read_wiring(const Node& node);
  void read_line(const Node& node, std::size_t number);
  void read_rail(const Node& node, std::size_t number);
  void read_check_standard(const Node& node);
  void read_calibration(const Node& node);
  std::optional<PortId> port_of(MapReader& map, const Node& node, std::initializer_list<PortKind> kinds);
  void need_port(MapReader& map, std::string_view key, PortId& into, std::initializer_list<PortKind> kinds);
  void may_port(MapReader& map, std::string_view key, std::optional<PortId>& into,
                std::initializer_list<PortKind> kinds);

  PlacedComplaints& complaints_;
  BenchSetup bench_;
  std::vector<std::string> port_names_;
  std::map<std::size_t, yaml::Place> used_;  ///< ports that the wiring has named, and where
};

std::optional<BenchSetup> BenchReader::read(const Node& root) {
  const std::size_t before = complaints_.count();
  {
    MapReader file{root, complaints_, "the bench"};
    file.find("bench");
    file.need_name("name", bench_.name, "left-bench");
    read_driver(file);
    if (const Node* ports = file.need("ports", "[{name: battery, kind: supply, ...}]")) read_ports(*ports);
    bench_.calibration.resize(bench_.ports.size());
    if (const Node* wiring = file.need("wiring", "{battery: {...}, rails: [...], speed: {...}, lines: [...]}"))
      read_wiring(*wiring);
    if (const Node* calibration = file.find("calibration")) read_calibration(*calibration);
  }
  if (complaints_.count() != before) return std::nullopt;
  return bench_;
}

/// The driver, and the block of options under its own name. Other drivers' blocks are unknown keys.
void BenchReader::read_driver(MapReader& file) {
  enum class Driver { emulated, board };
  Driver driver{};
  if (!file.need_choice("driver", driver, {{"emulated", Driver::emulated}, {"board", Driver::board}}, "emulated")) {
    file.find("emulated"), file.find("board");  // one complaint about the driver is enough
    return;
  }
  bench_.driver = file.find("driver")->text;
  if (driver == Driver::emulated) {
    const Node* node = file.find("emulated");
    if (!node) return;
    MapReader map{*node, complaints_, "the emulated driver"};
    std::int64_t seed = 1;
    if (map.may("seed", seed, Allowed<std::int64_t>{0, 9'000'000'000'000'000}))
      bench_.seed = static_cast<std::uint64_t>(seed);
    map.may("perfect", bench_.perfect);
    map.may("noise_codes", bench_.noise_codes, Allowed<double>{0, 100});
  } else if (const Node* node = file.need("board", "{device: /dev/proofstand-board, baud: 3000000}")) {
    MapReader map{*node, complaints_, "the board driver"};
    if (map.need_text("device", bench_.device, "/dev/proofstand-board") && bench_.device.front() != '/')
      map.refuse("device", "the device must be named by its whole path",
                 "Write it from the root: /dev/proofstand-board");
    std::int64_t baud = bench_.baud;
    if (map.may("baud", baud, Allowed<std::int64_t>{9600, 12'000'000})) bench_.baud = static_cast<std::uint32_t>(baud);
    map.may("reply_time_out", bench_.reply_time_out, Allowed<Nanoseconds>{5ms, 10s});
  }
}

void BenchReader::read_ports(const Node& node) {
  for (const Node& item : yaml::items(node, 1, kMostPorts, "the ports", complaints_)) {
    Port port = read_port(item, bench_.ports.size());
    port_names_.push_back(port.name);
    bench_.ports.push_back(std::move(port));
  }
}

template <class Q>
void BenchReader::read_level(MapReader& map, Port& port, Q widest) {
  Q low{}, high{}, resolution{}, offset{};
  if (const Node* range = map.need("range", "[0 V, 5.5 V]");
      range && read_range<Q>(*range, low, high, {-widest, widest}, "the range", complaints_))
    port.low = low.value(), port.high = high.value();
  if (map.need("resolution", resolution, Allowed<Q>{Q{1e-9}, widest}, "1 mV")) {
    port.resolution = resolution.value();
    if (port.high > port.low && port.resolution > (port.high - port.low) / 16)
      map.refuse("resolution", "one step is more than a sixteenth of the range", "Check its unit");
  }
  const Node* accuracy = map.need("accuracy", "{offset: 1 mV, gain: 0.02 % of value}");
  if (!accuracy) return;
  MapReader inner{*accuracy, complaints_, "`accuracy`"};
  if (inner.need("offset", offset, Allowed<Q>{Q{0}, widest}, "1 mV")) port.accuracy.offset = offset.value();
  if (const Node* gain = inner.need("gain", "0.02 % of value"))
    yaml::read_share(*gain, port.accuracy.gain, {0, 0.5}, "value", yaml::SayOf::must, complaints_);
}

void BenchReader::read_captures(MapReader& map, Port& port) {
  port.captures = usual_captures(port.kind);
  const Node* list = map.find("captures");
  if (!list) return;
  port.captures = 0;
  for (const Node& item : yaml::items(*list, 1, 5, "the captures", complaints_)) {
    CaptureKind kind{};
    if (yaml::read_choice(item, kind,
                          {{"samples", CaptureKind::samples},
                           {"envelope", CaptureKind::envelope},
                           {"edges", CaptureKind::edges},
                           {"triggered", CaptureKind::triggered},
                           {"bytes", CaptureKind::bytes}},
                          "captures", complaints_))
      port.captures |= bit(kind);
  }
}

Port BenchReader::read_port(const Node& node, std::size_t number) {
  Port port;
  MapReader map{node, complaints_, fmt::format("port {}", number + 1)};
  if (map.need_name("name", port.name, "battery")) {
    if (std::find(port_names_.begin(), port_names_.end(), port.name) != port_names_.end())
      complaints_.add(map.find("name")->place, fmt::format("port '{}' is there twice", port.name),
                      "Give each port its own name");
  }
  const Node* kind = map.need("kind", "voltage_source");
  if (!kind || !yaml::read_choice(*kind, port.kind,
                                  {{"supply", PortKind::supply},
                                   {"voltage_source", PortKind::voltage_source},
                                   {"resistance_source", PortKind::resistance_source},
                                   {"pulse_source", PortKind::pulse_source},
                                   {"relay", PortKind::relay},
                                   {"voltage_sense", PortKind::voltage_sense},
                                   {"current_sense", PortKind::current_sense},
                                   {"edge_sense", PortKind::edge_sense},
                                   {"service_port", PortKind::service_port},
                                   {"interlock", PortKind::interlock}},
                                  "kind", complaints_)) {
    // Which keys belong to the port depends on its kind: without one, none is called unknown.
    if (node.kind == Node::Kind::map)
      for (const yaml::Entry& entry : node.entries) map.find(entry.key);
    return port;
  }
  if (port.kind == PortKind::resistance_source) read_level<Ohms>(map, port, Ohms{1e8});
  if (port.kind == PortKind::current_sense) read_level<Amperes>(map, port, Amperes{100});
  if (port.kind == PortKind::supply || port.kind == PortKind::voltage_source || port.kind == PortKind::voltage_sense)
    read_level<Volts>(map, port, Volts{60});
  if (port.kind == PortKind::pulse_source) {
    Rpm highest{12000};
    map.may("highest", highest, Allowed<Rpm>{Rpm{100}, Rpm{30000}});
    port.high = highest.value();
  }
  if (is_source(port.kind) || is_sense(port.kind))
    map.need("settling", port.settling, Allowed<Nanoseconds>{0ns, 1s}, "50 us");
  if (is_source(port.kind)) {
    map.may("current_limit", port.current_limit, Allowed<Amperes>{Amperes{0.0001}, Amperes{50}});
    double slew = 0;
    if (map.may("slew_per_second", slew, Allowed<double>{0.1, 1e9})) port.slew_per_second = slew;
  }
  if (is_sense(port.kind) || port.kind == PortKind::edge_sense) {
    map.may("skew", port.skew, Allowed<Nanoseconds>{-10ms, 10ms});
    if (const Node* side = map.find("fault_switch_side"))
      yaml::read_choice(*side, port.module_side_of_fault_switch, {{"module", true}, {"source", false}},
                        "fault_switch_side", complaints_);
  }
  if (is_sense(port.kind)) map.need("shortest_period", port.shortest_period, Allowed<Nanoseconds>{100ns, 1ms}, "20 us");
  if (port.kind == PortKind::relay) map.need("travel", port.travel, Allowed<Nanoseconds>{0ms, 100ms}, "4 ms");
  if (port.kind != PortKind::service_port && port.kind != PortKind::interlock)
    map.may("resistance", port.resistance, Allowed<Ohms>{Ohms{0}, Ohms{1e12}});
  if (usual_captures(port.kind)) read_captures(map, port);
  return port;
}

std::optional<PortId> BenchReader::port_of(MapReader& map, const Node& node, std::initializer_list<PortKind> kinds) {
  const auto which = map.one_of(node, port_names_, "port");
  if (!which) return std::nullopt;
  const PortKind kind = bench_.ports[*which].kind;
  if (kind == PortKind{}) return std::nullopt;  // complained about at the port itself
  if (std::find(kinds.begin(), kinds.end(), kind) == kinds.end()) {
    std::string wanted;
    for (PortKind one : kinds) wanted += (wanted.empty() ? "" : " or ") + std::string{word_of(one)};
    complaints_.add(node.place,
                    fmt::format("port '{}' is of kind {}; here it must be {}", node.text, word_of(kind), wanted),
                    "Name another port");
    return std::nullopt;
  }
  const auto [before, is_new] = used_.try_emplace(*which, node.place);
  if (!is_new) {
    complaints_.add(node.place,
                    fmt::format("port '{}' is wired twice: first in line {}, column {}", node.text, before->second.line,
                                before->second.column),
                    "Wire each port once");
    return std::nullopt;
  }
  return PortId{static_cast<std::uint16_t>(*which)};
}

void BenchReader::need_port(MapReader& map, std::string_view key, PortId& into, std::initializer_list<PortKind> kinds) {
  if (const Node* node = map.need(key, "name_of_a_port"))
    if (const auto port = port_of(map, *node, kinds)) into = *port;
}

void BenchReader::may_port(MapReader& map, std::string_view key, std::optional<PortId>& into,
                           std::initializer_list<PortKind> kinds) {
  if (const Node* node = map.find(key)) into = port_of(map, *node, kinds);
}

void BenchReader::read_wiring(const Node& node) {
  Wiring& wiring = bench_.wiring;
  MapReader map{node, complaints_, "the wiring"};
  if (const Node* battery = map.need("battery", "{source: battery, sense: battery_sense, current: battery_current}")) {
    MapReader inner{*battery, complaints_, "the battery's wiring"};
    need_port(inner, "source", wiring.battery, {PortKind::supply});
    need_port(inner, "sense", wiring.battery_sense, {PortKind::voltage_sense});
    need_port(inner, "current", wiring.battery_current, {PortKind::current_sense});
  }
  if (const Node* rails = map.need("rails", "[{rail: rail_5v, source: ..., sense_controller: ..., sense_sensor: ...}]"))
    for (const Node& item : yaml::items(*rails, 1, 2, "the rails", complaints_)) read_rail(item, wiring.rails.size());
  if (const Node* speed = map.need("speed", "{source: ..., edges_in: ..., edges_out: ...}")) {
    MapReader inner{*speed, complaints_, "the speed line's wiring"};
    need_port(inner, "source", wiring.speed.source, {PortKind::pulse_source});
    need_port(inner, "edges_in", wiring.speed.edges_in, {PortKind::edge_sense});
    need_port(inner, "edges_out", wiring.speed.edges_out, {PortKind::edge_sense});
    may_port(inner, "sense_in", wiring.speed.sense_in, {PortKind::voltage_sense});
  }
  if (const Node* lines =
          map.need("lines", "[{channel: manifold_pressure, source: ..., sense_in: ..., sense_out: ...}]"))
    for (const Node& item : yaml::items(*lines, 1, 16, "the lines", complaints_)) read_line(item, wiring.lines.size());
  may_port(map, "bypass_request", wiring.bypass_request, {PortKind::relay});
  may_port(map, "isolator", wiring.isolator, {PortKind::relay});
  may_port(map, "loop_back", wiring.loop_back, {PortKind::relay});
  if (const Node* standard = map.find("check_standard")) read_check_standard(*standard);
}

void BenchReader::read_rail(const Node& node, std::size_t number) {
  RailWiring rail{};
  MapReader map{node, complaints_, fmt::format("rail {}", number + 1)};
  if (map.need_name("rail", rail.rail, "rail_5v") && bench_.wiring.rail(rail.rail))
    map.refuse("rail", fmt::format("rail '{}' is wired twice", rail.rail), "Wire each rail once");
  need_port(map, "source", rail.source, {PortKind::supply});
  need_port(map, "sense_controller", rail.sense_controller, {PortKind::voltage_sense});
  need_port(map, "sense_sensor", rail.sense_sensor, {PortKind::voltage_sense});
  bench_.wiring.rails.push_back(std::move(rail));
}

void BenchReader::read_line(const Node& node, std::size_t number) {
  LineWiring line{};
  MapReader map{node, complaints_, fmt::format("line {}", number + 1)};
  if (map.need_name("channel", line.channel, "manifold_pressure") && bench_.wiring.line(line.channel))
    map.refuse("channel", fmt::format("channel '{}' is wired twice", line.channel), "Wire each channel once");
  need_port(map, "source", line.source, {PortKind::voltage_source, PortKind::resistance_source});
  need_port(map, "sense_in", line.sense_in, {PortKind::voltage_sense});
  need_port(map, "sense_out", line.sense_out, {PortKind::voltage_sense});
  may_port(map, "fault_switch", line.fault_switch, {PortKind::relay});
  std::optional<PortId> load;
  may_port(map, "load", load, {PortKind::relay});
  if (load) line.load = Load{*load, {}};
  bench_.wiring.lines.push_back(std::move(line));
}

void BenchReader::read_check_standard(const Node& node) {
  MapReader map{node, complaints_, "the check standard"};
  PortId port{};
  need_port(map, "port", port, {PortKind::voltage_sense});
  bench_.wiring.check_standard = port;
  map.need("value", bench_.check_standard_value, Allowed<Volts>{Volts{0.1}, Volts{20}}, "2.5 V");
  map.need("error", bench_.check_standard_error, Allowed<Volts>{Volts{0.00001}, Volts{0.1}}, "2 mV");
}

/// Corrections in force, per port; a port that is not named is taken as it reads.
void BenchReader::read_calibration(const Node& node) {
  std::vector<bool> seen(bench_.ports.size());
  for (const Node& item : yaml::items(node, 0, kMostPorts, "the calibration", complaints_)) {
    MapReader map{item, complaints_, "a port's calibration"};
    const Node* name = map.need("port", "charge_pressure_sense_in");
    const auto which = name ? map.one_of(*name, port_names_, "port") : std::nullopt;
    const Node* offset = map.need("offset", "0.4 mV");
    double gain = 1;
    map.need("gain", gain, Allowed<double>{0.8, 1.25}, "1.00012");
    if (!which || !offset) continue;
    if (seen[*which])
      map.refuse("port", fmt::format("port '{}' is calibrated twice", name->text), "Keep the calibration in force");
    seen[*which] = true;
    Calibration& calibration = bench_.calibration[*which];
    calibration.gain = gain;
    const PortKind kind = bench_.ports[*which].kind;
    if (kind == PortKind::voltage_sense) {
      if (Volts v; yaml::read(*offset, v, {Volts{-1}, Volts{1}}, complaints_)) calibration.offset = v.value();
    } else if (kind == PortKind::current_sense) {
      if (Amperes a; yaml::read(*offset, a, {Amperes{-1}, Amperes{1}}, complaints_)) calibration.offset = a.value();
    } else {
      complaints_.add(name->place,
                      fmt::format("port '{}' is a {}: only what senses is calibrated", name->text, word_of(kind)),
                      "Name a voltage_sense or current_sense");
    }
  }
}

}  // namespace

Loaded<BenchSetup> load_bench(const std::string& path) {
  Loaded<BenchSetup> loaded;
  PlacedComplaints complaints{path};
  loaded.files.emplace_back();
  auto root = open_file(path, loaded.files.front(), complaints);
  if (root && settle_format(*root, FileKind::bench, complaints)) loaded.value = BenchReader{complaints}.read(*root);
  loaded.complaints = complaints.sorted();
  if (!loaded.complaints.empty()) loaded.value.reset();
  return loaded;
}

}  // namespace rig
