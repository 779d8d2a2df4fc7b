#include "drivers/board/device_ports.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

namespace drivers::board {
namespace {

std::uint32_t nanoseconds_field(rig::Nanoseconds t) {
  return static_cast<std::uint32_t>(std::clamp<std::int64_t>(t.count(), 0, std::numeric_limits<std::uint32_t>::max()));
}

std::int32_t cut(double value) {
  constexpr double kLow = std::numeric_limits<std::int32_t>::min(), kHigh = std::numeric_limits<std::int32_t>::max();
  return static_cast<std::int32_t>(std::clamp(value, kLow, kHigh));
}

/// In which order outputs go to safe: supplies first, relays last, and of these first what lets go: so what is tied to
/// a wire is gone before its break closes.
std::uint8_t safe_order(rig::PortKind kind, bool closed_at_rest) {
  switch (kind) {
    case rig::PortKind::voltage_source:
    case rig::PortKind::resistance_source:
      return 1;
    case rig::PortKind::pulse_source:
      return 2;
    case rig::PortKind::relay:
      return closed_at_rest ? 4 : 3;
    default:
      return 0;
  }
}

}  // namespace

bool is_output(rig::PortKind kind) {
  return kind == rig::PortKind::supply || kind == rig::PortKind::voltage_source ||
         kind == rig::PortKind::resistance_source || kind == rig::PortKind::pulse_source ||
         kind == rig::PortKind::relay;
}

std::uint32_t set_points_of(const rig::Port& port, const rig::Capabilities& bench) {
  using rig::SetPointKind;
  std::uint32_t mask = 0;
  switch (port.kind) {
    case rig::PortKind::supply:
    case rig::PortKind::voltage_source:
      mask = bit(SetPointKind::step) | bit(SetPointKind::ramp) | bit(SetPointKind::open) | bit(SetPointKind::grounded) |
             bit(SetPointKind::current_limit);
      break;
    case rig::PortKind::resistance_source:
      mask = bit(SetPointKind::step) | bit(SetPointKind::open) | bit(SetPointKind::grounded);
      break;
    case rig::PortKind::pulse_source:
      mask = bit(SetPointKind::speed_piece);
      break;
    case rig::PortKind::relay:
      mask = bit(SetPointKind::relay);
      break;
    case rig::PortKind::service_port:
      mask = bit(SetPointKind::exchange);
      break;
    default:
      break;
  }
  return mask & bench.set_points;
}

SafeState safe_state_of(rig::PortKind kind, bool closed_at_rest) {
  switch (kind) {
    case rig::PortKind::supply:
    case rig::PortKind::pulse_source:
      return SafeState::off;
    case rig::PortKind::voltage_source:
    case rig::PortKind::resistance_source:
      return SafeState::open;
    case rig::PortKind::relay:
      return closed_at_rest ? SafeState::relay_closed : SafeState::relay_open;
    default:
      return SafeState::not_an_output;
  }
}

PortDescription describe(const rig::Port& port, const rig::Capabilities& bench, bool closed_at_rest) {
  PortDescription d;
  d.name = port.name;
  d.kind = static_cast<std::uint8_t>(port.kind);
  const auto option = [&d](bool holds, std::uint8_t bit) { d.options |= holds ? bit : 0; };
  option(port.module_side_of_fault_switch, PortDescription::kModuleSide);
  option(port.scanned, PortDescription::kScanned);
  option(port.sinks, PortDescription::kSinks);
  option(port.open_drain, PortDescription::kOpenDrain);
  d.safe = safe_state_of(port.kind, closed_at_rest);
  d.order = safe_order(port.kind, closed_at_rest);
  d.low = port.low, d.high = port.high, d.resolution = port.resolution;
  d.accuracy_offset = port.accuracy.offset, d.accuracy_gain = port.accuracy.gain;
  d.resistance = port.resistance.value(), d.current_limit = port.current_limit.value();
  d.slew = port.slew_per_second;
  d.captures = port.captures, d.set_points = set_points_of(port, bench);
  d.shortest_period_ns = nanoseconds_field(port.shortest_period);
  d.settling_ns = nanoseconds_field(port.settling);
  d.skew_ns = static_cast<std::int32_t>(port.skew.count());
  d.travel_ns = nanoseconds_field(port.travel);
  d.more = {nanoseconds_field(port.skew_error), nanoseconds_field(port.aperture), port.leakage.value()};
  return d;
}

double wire_scale(rig::PortKind kind) {
  switch (kind) {
    case rig::PortKind::resistance_source:
    case rig::PortKind::pulse_source:
      return 1e3;
    case rig::PortKind::relay:
      return 1;
    default:
      return 1e6;
  }
}

WireRange wire_range(double low, double high, rig::PortKind kind) {
  return {cut(std::floor(low * wire_scale(kind))), cut(std::ceil(high * wire_scale(kind)))};
}

}  // namespace drivers::board
