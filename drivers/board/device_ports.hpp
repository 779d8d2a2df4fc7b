#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "drivers/board/messages.hpp"
#include "rig/core/capabilities.hpp"
#include "rig/core/timeline.hpp"

/// What the board says of its ports, and the units their set-points have on the wire.
namespace drivers::board {

/// Why something that came over the wire is refused.
struct Refusal {
  ErrorCode code{};
  std::uint16_t detail = 0;
  std::string text;
};

bool is_output(rig::PortKind kind);
/// Mask of the event kinds a port takes, of those the bench offers at all.
std::uint32_t set_points_of(const rig::Port& port, const rig::Capabilities& bench);
/// What a port is when the board is safe; `closed_at_rest` is of relays alone.
SafeState safe_state_of(rig::PortKind kind, bool closed_at_rest);
PortDescription describe(const rig::Port& port, const rig::Capabilities& bench, bool closed_at_rest);

/// Steps of the wire per unit of the port: microvolts, milliohms, millirpm, or 1 for a relay.
double wire_scale(rig::PortKind kind);
/// A value on the wire in the port's own unit.
inline double unit_value(std::int32_t wire, rig::PortKind kind) { return wire / wire_scale(kind); }
/// A range in the port's unit as the wire has it: low rounded down, high up, cut to what 32 bits hold.
struct WireRange {
  std::int32_t low, high;
};
WireRange wire_range(double low, double high, rig::PortKind kind);

}  // namespace drivers::board
