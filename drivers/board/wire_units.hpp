#pragma once

#include <cstdint>
#include <vector>

#include "drivers/bench.hpp"
#include "drivers/board/messages.hpp"

/// From the host's quantities to the wire's integers and back.
namespace drivers::board {

/// A bench's ports as the board numbers them, and the board's clock.
struct WireMap {
  std::vector<std::uint16_t> wire_port;  ///< per port of the bench's capabilities
  std::vector<rig::PortKind> kind;       ///< likewise
  std::uint32_t tick_rate = 10'000'000;

  std::uint16_t of(rig::PortId port) const { return wire_port[rig::index(port)]; }
  rig::PortKind kind_of(rig::PortId port) const { return kind[rig::index(port)]; }
  std::uint64_t ticks(rig::Nanoseconds t) const;
  rig::BenchTime time(std::uint64_t ticks) const;
};

/// Appends a segment's entries, segment_begin to segment_end. Values are rounded to the wire's unit. Throws
/// rig::RigFault for what the wire cannot carry (a port that is not there, a conversation that is too long).
void append_entries(std::vector<Entry>& entries, const rig::Segment& segment, const WireMap& map);

/// Low is rounded down and high up, so that a value right at its limit is not refused.
WireLimit wire_limit(const rig::PortLimit& limit, const WireMap& map);
WireTrack wire_track(const rig::Track& track, const WireMap& map);
WirePortState wire_state(const rig::PortState& state, const WireMap& map);
rig::TrackInfo track_info(const rig::Track& track, const WireTrackInfo& info);

}  // namespace drivers::board
