#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rig/core/capabilities.hpp"
#include "rig/core/quantity.hpp"
#include "rig/core/speed_piece.hpp"

/// What a step asks a bench to do. Pure data.
namespace rig {

struct HighImpedance {
  friend bool operator==(HighImpedance, HighImpedance) = default;
};
struct Grounded {
  friend bool operator==(Grounded, Grounded) = default;
};
/// The state of an analogue output: a level, open (high impedance) or grounded; never "off".
using OutputState = std::variant<HighImpedance, Grounded, Volts, Ohms>;

struct SetOutput {  ///< at once
  PortId port;
  OutputState to;
  friend bool operator==(const SetOutput&, const SetOutput&) = default;
};
struct RampOutput {  ///< linear from the level it has
  PortId port;
  Volts to;
  Nanoseconds duration;
  friend bool operator==(const RampOutput&, const RampOutput&) = default;
};
struct SetRelay {
  PortId port;
  bool closed;
  friend bool operator==(const SetRelay&, const SetRelay&) = default;
};
struct SetSpeed {  ///< ends the piece that plays and starts this one at the angle reached
  PortId port;
  SpeedPiece piece;
  friend bool operator==(const SetSpeed&, const SetSpeed&) = default;
};
struct SetCurrentLimit {
  PortId port;
  Amperes limit;
  friend bool operator==(const SetCurrentLimit&, const SetCurrentLimit&) = default;
};
/// A conversation with the module: bytes out, then bytes in until a terminator or a length. The reply is on the port's
/// `bytes` track.
struct Exchange {
  PortId port;
  std::vector<std::uint8_t> out;
  std::vector<std::uint8_t> terminator;  ///< empty: the length counts
  std::uint32_t length = 0;
  Nanoseconds time_out{0};
  int retries = 0;
  std::uint32_t baud = 115200;  ///< 8 data bits, no parity, one stop bit
  friend bool operator==(const Exchange&, const Exchange&) = default;
};
using Action = std::variant<SetOutput, RampOutput, SetRelay, SetSpeed, SetCurrentLimit, Exchange>;

struct Event {
  Nanoseconds at;  ///< from the segment's start
  Action action;
  friend bool operator==(const Event&, const Event&) = default;
};

/// One stream of readings in a session: index into CapturePlan::tracks, and the stream's number on the wire.
enum class TrackId : std::uint16_t {};
constexpr std::uint16_t index(TrackId track) { return static_cast<std::uint16_t>(track); }

/// What a `triggered` track waits for in each of its windows, and how much of it is kept. A window arms at its `from`;
/// the port converts then, and whole periods before and after. The event is
///   without a threshold: `from` itself;
///   with one: the first conversion at or past the threshold (rising: at or above, falling: at or below) whose
///   predecessor was short of it, both of them in [from, the window's end). A signal that is past it already must come
///   back first. What is compared is code * scale + offset, as recorded, noise and all, before any calibration.
/// Recorded are the conversions in [event - before, event + after), of which the event's is the first one of `after`:
/// also when that runs past the window's or the segment's end, but not past the session's. At most one event a window:
/// without one nothing is recorded. A window that arms ends what an earlier one of its track still records, at from -
/// before. REQUIRES from >= before: a segment that has ended takes no readings any more. Each sample belongs to the
/// segment that it was taken in, as every sample does (Slicer), whichever segment the window was of.
struct Trigger {
  std::variant<std::monostate, Volts> threshold;  ///< nothing: the window's own start is the event
  bool rising = true;
  Nanoseconds before{0}, after{0};  ///< not both 0; `before` is a multiple of the bench's grid
  friend bool operator==(const Trigger&, const Trigger&) = default;
};

/// A stream the session is opened with.
struct Track {
  PortId port;
  CaptureKind kind;
  Nanoseconds period{1'000'000};   ///< sample period or bin length; of no meaning for edges and bytes
  bool throughout = false;         ///< from arm to safe; otherwise inside windows only
  std::optional<Trigger> trigger;  ///< for `triggered`
  friend bool operator==(const Track&, const Track&) = default;
};
struct CapturePlan {
  std::vector<Track> tracks;
  friend bool operator==(const CapturePlan&, const CapturePlan&) = default;
};

/// When a track that does not run throughout is recorded, from the segment's start.
struct Window {
  TrackId track;
  Nanoseconds from{0};
  std::optional<Nanoseconds> length;  ///< nothing: to the segment's end
  friend bool operator==(const Window&, const Window&) = default;
};

/// A track has settled (rig/core/settle_detector.hpp says exactly when). Only `envelope` tracks can be waited for.
struct SettleCondition {
  TrackId track;
  Nanoseconds window;   ///< whole bins
  Volts span;           ///< largest spread of the bin means within the window, and largest distance still to go
  Nanoseconds slowest;  ///< largest time constant the signal is expected to have
  bool module_output;   ///< true: the unit is at fault when this one does not settle; false: the rig is
  friend bool operator==(const SettleCondition&, const SettleCondition&) = default;
};
struct Until {
  std::vector<SettleCondition> conditions;  ///< all of them, at the same bin
  Nanoseconds not_before{0};  ///< from the segment's start: the product's latency. No window may begin earlier.
  Nanoseconds time_out{0};    ///< from the segment's start; the segment then ends as timed_out
  friend bool operator==(const Until&, const Until&) = default;
};

/// The unit of judging, progress, commit and void. Ends after a fixed duration or once a condition holds.
struct Segment {
  std::uint32_t id = 0;       ///< unique in the run; given by the compiler, in playing order
  std::vector<Event> events;  ///< in order of time
  std::vector<Window> windows;
  std::variant<Nanoseconds, Until> end;
  friend bool operator==(const Segment&, const Segment&) = default;
};

/// Longest time a segment can take.
Nanoseconds longest(const Segment& segment);

struct PortState {
  PortId port;
  OutputState state;
  friend bool operator==(const PortState&, const PortState&) = default;
};

/// An ordered list of segments with the state it starts from and the one it leaves (outputs not named are safe).
struct Timeline {
  CapturePlan capture;
  std::vector<PortState> starts_from;
  std::vector<Segment> segments;
  std::vector<PortState> leaves;
};

/// The largest values a port may be set to in this run: loaded before arming, fixed while armed, enforced by the bench
/// on every value.
struct PortLimit {
  PortId port;
  double low = 0, high = 0;    ///< in the port's unit
  Amperes current{0};          ///< supplies and sources
  double slew_per_second = 0;  ///< 0: the port's own
  friend bool operator==(const PortLimit&, const PortLimit&) = default;
};

}  // namespace rig
