#include <algorithm>
#include <filesystem>

#include "rig/compile/bench_reader.hpp"
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

}  // namespace

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
    if (const Node* shift_start = file.find("shift_start")) read_shift_start(*shift_start);
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
    Port port = read_port(item, bench_.ports.size(), port_names_, complaints_);
    port_names_.push_back(port.name);
    bench_.ports.push_back(std::move(port));
  }
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
  if (const Node* speed = map.need("speed", "{source: ..., edges_in: ..., edges_out: ...}")) read_speed(*speed);
  if (const Node* lines =
          map.need("lines", "[{channel: manifold_pressure, source: ..., sense_in: ..., sense_out: ...}]"))
    for (const Node& item : yaml::items(*lines, 1, 16, "the lines", complaints_)) read_line(item, wiring.lines.size());
  if (const Node* ground = map.find("ground")) read_ground(*ground);
  may_port(map, "service", wiring.service, {PortKind::service_port});
  may_port(map, "ambient", wiring.ambient, {PortKind::temperature_sense});
  may_port(map, "fixture", wiring.fixture, {PortKind::temperature_sense});
  may_port(map, "bypass_request", wiring.bypass_request, {PortKind::relay});
  may_port(map, "isolator", wiring.isolator, {PortKind::relay});
  may_port(map, "loop_back", wiring.loop_back, {PortKind::relay});
  if (const Node* standard = map.find("check_standard")) read_check_standard(*standard);
  if (const Node* faults = map.find("faults")) read_faults(*faults);
}

void BenchReader::read_rail(const Node& node, std::size_t number) {
  RailWiring rail{};
  MapReader map{node, complaints_, fmt::format("rail {}", number + 1)};
  if (map.need_name("rail", rail.rail, "rail_5v") && bench_.wiring.rail(rail.rail))
    map.refuse("rail", fmt::format("rail '{}' is wired twice", rail.rail), "Wire each rail once");
  need_port(map, "source", rail.source, {PortKind::supply});
  need_port(map, "sense_controller", rail.sense_controller, {PortKind::voltage_sense});
  need_port(map, "sense_sensor", rail.sense_sensor, {PortKind::voltage_sense});
  rail.sensor_load = read_load(map, "sensor_load", true);
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
  line.load = read_load(map, "load", false);
  line.second_load = read_load(map, "second_load", false);
  bench_.wiring.lines.push_back(std::move(line));
}

void BenchReader::read_speed(const Node& node) {
  SpeedWiring& speed = bench_.wiring.speed;
  MapReader map{node, complaints_, "the speed line's wiring"};
  need_port(map, "source", speed.source, {PortKind::pulse_source});
  need_port(map, "edges_in", speed.edges_in, {PortKind::edge_sense});
  need_port(map, "edges_out", speed.edges_out, {PortKind::edge_sense});
  may_port(map, "sense_in", speed.sense_in, {PortKind::voltage_sense});
  may_port(map, "sense_out", speed.sense_out, {PortKind::voltage_sense});
  may_port(map, "foot", speed.foot, {PortKind::voltage_source});
  may_port(map, "pull_up_supply", speed.pull_up_supply, {PortKind::voltage_source});
  may_port(map, "pull_up_switch", speed.pull_up_switch, {PortKind::relay});
  if (const Node* slow = map.find("slow_edges")) {
    SpeedWiring::SlowEdges edges{};
    MapReader inner{*slow, complaints_, "the slow edges"};
    need_port(inner, "relay", edges.relay, {PortKind::relay});
    inner.need("time_constant", edges.time_constant, Allowed<Nanoseconds>{1us, 10ms}, "100 us");
    speed.slow_edges = edges;
  }
  if (const Node* rides = map.find("noise")) {
    SpeedWiring::Noise noise{};
    MapReader inner{*rides, complaints_, "the speed line's noise"};
    need_port(inner, "relay", noise.relay, {PortKind::relay});
    inner.need("peak_to_peak", noise.peak_to_peak, Allowed<Volts>{Volts{0.001}, Volts{5}}, "150 mV");
    inner.need("period", noise.period, Allowed<Nanoseconds>{1us, 10ms}, "20 us");
    speed.noise = noise;
  }
}

void BenchReader::read_ground(const Node& node) {
  GroundWiring& ground = bench_.wiring.ground;
  MapReader map{node, complaints_, "the ground's wiring"};
  may_port(map, "sense", ground.sense, {PortKind::voltage_sense});
  may_port(map, "break", ground.break_relay, {PortKind::relay});
}

/// A relay and what it switches in: `{relay: charge_second_load, pull_down: 10 kohm}`. Where the load may stand for the
/// product's own controller input, the relay's name alone will do.
std::optional<Load> BenchReader::read_load(MapReader& map, std::string_view key, bool must_pull_down) {
  constexpr Allowed<Ohms> allowed{Ohms{10}, Ohms{1e7}};
  const Node* node = map.find(key);
  if (!node) return std::nullopt;
  if (!must_pull_down && key == "load" && node->kind != Node::Kind::map) {
    const auto relay = port_of(map, *node, {PortKind::relay});
    return relay ? std::optional{Load{*relay, {}}} : std::nullopt;
  }
  Load load{};
  MapReader inner{*node, complaints_, fmt::format("`{}`", key)};
  need_port(inner, "relay", load.relay, {PortKind::relay});
  if (must_pull_down) {
    Ohms pull_down{};
    if (inner.need("pull_down", pull_down, allowed, "250 ohm")) load.is.pull_down = pull_down;
  } else {
    inner.may("pull_up", load.is.pull_up, allowed);
    inner.may("pull_down", load.is.pull_down, allowed);
    if (key != "load" && node->kind == Node::Kind::map && !inner.find("pull_up") && !inner.find("pull_down"))
      complaints_.add(node->place, "the second load has no resistance",
                      "Say `pull_down: 10 kohm`, `pull_up: 10 kohm`, or both");
  }
  if (const Node* error = inner.find("error"))
    yaml::read_share(*error, load.error, {0, 0.2}, "value", yaml::SayOf::may, complaints_);
  return load;
}

void BenchReader::read_check_standard(const Node& node) {
  MapReader map{node, complaints_, "the check standard"};
  PortId port{};
  need_port(map, "port", port, {PortKind::voltage_sense});
  bench_.wiring.check_standard = port;
  map.need("value", bench_.check_standard_value, Allowed<Volts>{Volts{0.1}, Volts{20}}, "2.5 V");
  map.need("error", bench_.check_standard_error, Allowed<Volts>{Volts{0.00001}, Volts{0.1}}, "2 mV");
}

/// A scenario about the stand itself that must have passed on this bench before units are sold from it.
void BenchReader::read_shift_start(const Node& node) {
  MapReader map{node, complaints_, "`shift_start`"};
  map.need_text("scenario", bench_.shift_start_scenario, "../shift-start.yaml");
  map.need("every", bench_.shift_start_every, Allowed<Nanoseconds>{60s, 7 * 24h}, "12 h");
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

Loaded<BenchSetup> load_bench(const std::string& path) {
  Loaded<BenchSetup> loaded;
  PlacedComplaints complaints{path};
  loaded.files.emplace_back();
  auto root = open_file(path, loaded.files.front(), complaints);
  if (root && settle_format(*root, FileKind::bench, complaints)) loaded.value = BenchReader{complaints}.read(*root);
  loaded.complaints = complaints.sorted();
  if (!loaded.complaints.empty()) loaded.value.reset();
  if (loaded.value && !loaded.value->shift_start_scenario.empty()) {
    auto& scenario = loaded.value->shift_start_scenario;
    scenario = (std::filesystem::path{path}.parent_path() / scenario).lexically_normal().string();
  }
  return loaded;
}

}  // namespace rig
