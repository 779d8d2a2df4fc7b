#include "drivers/board/port_match.hpp"

#include <fmt/core.h>

#include <algorithm>
#include <cmath>

namespace drivers::board {
namespace {

std::string_view kind_name(std::uint8_t kind) {
  switch (static_cast<rig::PortKind>(kind)) {
    case rig::PortKind::supply:
      return "supply";
    case rig::PortKind::voltage_source:
      return "voltage source";
    case rig::PortKind::resistance_source:
      return "resistance source";
    case rig::PortKind::pulse_source:
      return "pulse source";
    case rig::PortKind::relay:
      return "relay";
    case rig::PortKind::voltage_sense:
      return "voltage sense";
    case rig::PortKind::current_sense:
      return "current sense";
    case rig::PortKind::edge_sense:
      return "edge sense";
    case rig::PortKind::service_port:
      return "service port";
    case rig::PortKind::interlock:
      return "interlock";
    case rig::PortKind::temperature_sense:
      return "temperature sense";
  }
  return "port of an unknown kind";
}

const PortDescription* named(const std::vector<PortDescription>& has, const std::string& name) {
  const auto found = std::find_if(has.begin(), has.end(), [&](const auto& p) { return p.name == name; });
  return found == has.end() ? nullptr : &*found;
}

/// What the bench file promises of a port, and the check reckons with, that the board does not. A board of version 1.0
/// cannot say: there the file is believed.
std::optional<std::string> promise_not_kept(const rig::Port& wanted, const PortDescription& has) {
  if (!has.more) return std::nullopt;
  const auto says = [&](const std::string& what) { return fmt::format("its port '{}' {}", wanted.name, what); };
  const auto longer = [&](const char* what, std::uint32_t ns, rig::Nanoseconds file) {
    return ns > file.count()
               ? std::optional{says(fmt::format("{} {} ns, the bench file says {} ns at most", what, ns, file.count()))}
               : std::nullopt;
  };
  if (auto text = longer("may be skewed by", has.more->skew_error_ns, wanted.skew_error)) return text;
  if (auto text = longer("looks for", has.more->aperture_ns, wanted.aperture)) return text;
  if (has.more->leakage > wanted.leakage.value() * (1 + 1e-6) + 1e-15)
    return says(
        fmt::format("may leak {:g} A, the bench file says {:g} A at most", has.more->leakage, wanted.leakage.value()));
  const auto option = [&](std::uint8_t bit) { return (has.options & bit) != 0; };
  if (option(PortDescription::kScanned) && !wanted.scanned)
    return says("shares its converter with others, the bench file says that it does not");
  if (wanted.sinks && !option(PortDescription::kSinks))
    return says("takes no current, the bench file says that it sinks");
  if (wanted.open_drain && !option(PortDescription::kOpenDrain))
    return says("drives both ways, the bench file says that it is an open drain");
  return std::nullopt;
}

std::optional<std::string> mismatch(const rig::Port& wanted, const PortDescription* has) {
  if (!has) return fmt::format("it has no port '{}'", wanted.name);
  if (has->kind != static_cast<std::uint8_t>(wanted.kind))
    return fmt::format("its port '{}' is a {}, the bench file says {}", wanted.name, kind_name(has->kind),
                       kind_name(static_cast<std::uint8_t>(wanted.kind)));
  const double slack = 1e-9 + 1e-6 * std::max(std::abs(wanted.low), std::abs(wanted.high));
  if (has->low > wanted.low + slack || has->high < wanted.high - slack)
    return fmt::format("its port '{}' covers {:g} to {:g}, the bench file says {:g} to {:g}", wanted.name, has->low,
                       has->high, wanted.low, wanted.high);
  if (wanted.captures & ~has->captures)
    return fmt::format("its port '{}' does not offer every capture the bench file names", wanted.name);
  return promise_not_kept(wanted, *has);
}

}  // namespace

std::optional<std::string> port_problem(const std::vector<rig::Port>& wanted, const std::vector<PortDescription>& has) {
  std::string all;
  for (const rig::Port& port : wanted)
    if (const auto problem = mismatch(port, named(has, port.name))) all += (all.empty() ? "" : "; ") + *problem;
  if (all.empty()) return std::nullopt;
  return all;
}

WireMap map_ports(const std::vector<rig::Port>& wanted, const std::vector<PortDescription>& has,
                  std::uint32_t tick_rate) {
  WireMap map;
  map.tick_rate = tick_rate;
  for (const rig::Port& port : wanted) {
    map.wire_port.push_back(static_cast<std::uint16_t>(named(has, port.name) - has.data()));
    map.kind.push_back(port.kind);
  }
  return map;
}

rig::Capabilities board_capabilities(const rig::BenchSetup& setup, const HelloAck& board) {
  rig::Capabilities can = rig::capabilities_of(setup);
  can.identity = board.identity;
  can.set_points = board.set_points;
  can.tick_rate = board.tick_rate;
  can.tick_tolerance_ppm = board.tolerance_ppb * 1e-3;
  can.queue_entries = board.queue_entries;
  const auto has = [&](BoardFeature feature) { return (board.features & bit(feature)) != 0; };
  const auto set = [&](rig::Feature feature, bool on) {
    if (on)
      can.features |= static_cast<std::uint32_t>(feature);
    else
      can.features &= ~static_cast<std::uint32_t>(feature);
  };
  set(rig::Feature::until_on_bench, has(BoardFeature::until_on_board));
  set(rig::Feature::paced, has(BoardFeature::paced));
  set(rig::Feature::interlock, has(BoardFeature::interlock));
  if (!has(BoardFeature::triggered))
    for (rig::Port& port : can.ports) port.captures &= ~rig::bit(rig::CaptureKind::triggered);
  WireMap clock;
  clock.tick_rate = board.tick_rate;
  can.grid = clock.time(board.grid).since_start();
  can.append_lead = clock.time(board.append_lead).since_start();
  const double wire = setup.baud / 10.0;  // a start and a stop bit around each byte
  can.link_bytes_per_second = board.link_bytes_per_second ? std::min<double>(wire, board.link_bytes_per_second) : wire;
  return can;
}

}  // namespace drivers::board
