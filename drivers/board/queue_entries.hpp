#pragma once

#include <cstdint>
#include <variant>
#include <vector>

/// The entries of a board's queue, as PROTOCOL.md section 4 has them: segments and set-points in the wire's integers.
namespace drivers::board {

constexpr std::uint64_t kForever = ~std::uint64_t{0};  ///< an open piece, a window to the segment's end

/// Kinds of queue entries. 0 to 31 are events and have the numbers of rig::SetPointKind.
enum class EntryKind : std::uint8_t {
  step = 0,
  ramp = 1,
  speed_piece = 2,
  open = 3,
  grounded = 4,
  relay = 5,
  current_limit = 6,
  exchange = 7,
  segment_begin = 32,
  window = 33,
  until_condition = 34,
  segment_end = 35,
  end_of_timeline = 36,
};
struct StepTo {
  std::int32_t value = 0;
  friend bool operator==(const StepTo&, const StepTo&) = default;
};
struct RampTo {
  std::int32_t value = 0;
  std::uint64_t duration = 0;
  friend bool operator==(const RampTo&, const RampTo&) = default;
};
struct WirePiece {
  std::int32_t millirpm = 0, millirpm_per_second = 0;
  std::uint64_t ticks = kForever;
  friend bool operator==(const WirePiece&, const WirePiece&) = default;
};
struct ToOpen {
  friend bool operator==(const ToOpen&, const ToOpen&) = default;
};
struct ToGround {
  friend bool operator==(const ToGround&, const ToGround&) = default;
};
struct RelayTo {
  std::uint8_t closed = 0;
  friend bool operator==(const RelayTo&, const RelayTo&) = default;
};
struct CurrentLimitTo {
  std::uint32_t microamperes = 0;
  friend bool operator==(const CurrentLimitTo&, const CurrentLimitTo&) = default;
};
struct WireExchange {
  std::uint32_t length = 0;
  std::uint64_t time_out = 0;
  std::uint8_t retries = 0;
  std::vector<std::uint8_t> out, terminator;  ///< together at most 225 bytes
  std::uint32_t baud = 115200;                ///< since 1.1, at the body's end; left out: this
  friend bool operator==(const WireExchange&, const WireExchange&) = default;
};
struct EventEntry {
  std::uint64_t at = 0;  ///< ticks from the segment's start
  std::uint16_t port = 0;
  std::variant<StepTo, RampTo, WirePiece, ToOpen, ToGround, RelayTo, CurrentLimitTo, WireExchange>
      action;  ///< in the order of their kinds
  friend bool operator==(const EventEntry&, const EventEntry&) = default;
};
struct SegmentBegin {
  std::uint32_t id = 0;
  std::uint8_t until = 0;
  std::uint64_t length = 0, not_before = 0;
  friend bool operator==(const SegmentBegin&, const SegmentBegin&) = default;
};
struct WindowEntry {
  std::uint16_t track = 0;
  std::uint64_t from = 0, length = kForever;
  friend bool operator==(const WindowEntry&, const WindowEntry&) = default;
};
struct UntilCondition {
  std::uint16_t track = 0;
  std::uint64_t window = 0, slowest = 0;
  std::uint32_t span = 0;  ///< microvolts
  std::uint8_t module_output = 0;
  friend bool operator==(const UntilCondition&, const UntilCondition&) = default;
};
struct SegmentEndEntry {
  std::uint32_t id = 0;
  friend bool operator==(const SegmentEndEntry&, const SegmentEndEntry&) = default;
};
struct EndOfTimeline {
  std::uint8_t hold = 0;
  friend bool operator==(const EndOfTimeline&, const EndOfTimeline&) = default;
};
using Entry = std::variant<EventEntry, SegmentBegin, WindowEntry, UntilCondition, SegmentEndEntry, EndOfTimeline>;
/// Appends an entry as it goes on the wire (kind, length, body): what capacity is counted in and the digest runs over.
void append_entry(std::vector<std::uint8_t>& bytes, const Entry& entry);

}  // namespace drivers::board
