#include "rig/core/bench_setup.hpp"

#include <algorithm>

namespace rig {
namespace {

/// What a port of this kind can capture when its description leaves that open.
std::uint32_t usual_captures(PortKind kind) {
  switch (kind) {
    case PortKind::voltage_sense:
    case PortKind::current_sense:
      return bit(CaptureKind::samples) | bit(CaptureKind::envelope);
    case PortKind::edge_sense:
      return bit(CaptureKind::edges);
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
