#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/quantity.hpp"

namespace rig {

/// A port of a bench: index into Capabilities::ports, and the number a rig board uses for it on the wire.
enum class PortId : std::uint16_t {};
constexpr std::uint16_t index(PortId port) { return static_cast<std::uint16_t>(port); }

/// Numbers are those of the wire protocol and never change.
enum class PortKind : std::uint8_t {
  supply = 1,             ///< battery or 5 V rail: sources current, level in volts
  voltage_source = 2,     ///< emulates a sensor's output through an output resistance
  resistance_source = 3,  ///< emulates a thermistor as a resistance
  pulse_source = 4,       ///< open-drain speed output
  relay = 5,              ///< a switch: fault switch, load bank, isolator, loop-back
  voltage_sense = 6,
  current_sense = 7,
  edge_sense = 8,
  service_port = 9,  ///< bytes to and from the module
  interlock = 10,
  temperature_sense = 11,  ///< degrees Celsius: ambient, fixture
};

/// What kinds of capture there are. Bit n of a mask is kind n. Numbers are those of the wire protocol.
enum class CaptureKind : std::uint8_t {
  samples = 0,    ///< every conversion at a rate
  envelope = 1,   ///< minimum, maximum, mean per bin, from every conversion
  edges = 2,      ///< level changes with their ticks
  triggered = 3,  ///< samples before and after an event or a threshold
  bytes = 4,      ///< what came in on a service port
};
constexpr std::uint32_t bit(CaptureKind kind) { return 1u << static_cast<unsigned>(kind); }

/// What a set-point can be. Bit n of a mask is kind n. Numbers are those of the wire protocol.
enum class SetPointKind : std::uint8_t {
  step = 0,  ///< volts at once (or ohms on a resistance source)
  ramp = 1,  ///< linear from the present level
  speed_piece = 2,
  open = 3,  ///< high impedance
  grounded = 4,
  relay = 5,  ///< open or close a relay
  current_limit = 6,
  exchange = 7,  ///< a conversation on a service port
  model = 8,     ///< reserved: a set-point that follows an engine model stepped by the bench
  frame = 9,     ///< reserved: digital sensor frames (SAE J2716) as edges
};
constexpr std::uint32_t bit(SetPointKind kind) { return 1u << static_cast<unsigned>(kind); }

/// Limit of error of a port: |error| <= offset + gain * |value|, stated for the calibration interval.
struct ErrorLimit {
  double offset = 0;  ///< in the port's unit (V, A, ohm)
  double gain = 0;    ///< of the value
};

/// What one port can do, in the port's own unit: volts, amperes (current_sense), ohms (resistance_source), degrees
/// Celsius (temperature_sense).
struct Port {
  std::string name;  ///< as the bench file and the board call it
  PortKind kind{};
  double low = 0, high = 0;  ///< range
  double resolution = 0;     ///< one step of its converter
  ErrorLimit accuracy;
  Nanoseconds settling{0};  ///< time constant of a source; filter time constant of a sense
  Nanoseconds skew{0};      ///< a sense's fixed delay against the base clock; corrected by the judge
  Nanoseconds travel{0};    ///< a relay's travel and bounce, at most
  Ohms resistance{0};       ///< a source's own output resistance; a sense's input impedance; a relay's contact
  Amperes current_limit{0};
  double slew_per_second = 0;               ///< largest rate of change; 0: not limited
  std::uint32_t captures = 0;               ///< mask of CaptureKind
  Nanoseconds shortest_period{0};           ///< between conversions
  bool module_side_of_fault_switch = true;  ///< a sense: on which side of its line's fault switch it sits
  Nanoseconds skew_error{0};                ///< what may be left of a sense's delay once skew is taken off, either way
  Nanoseconds aperture{0};                  ///< how long one conversion looks
  bool scanned = false;                     ///< a sense that shares its converter with others, one after another
  Amperes leakage{0};                       ///< of a sense, or of a source in high impedance, at most
  bool sinks = false;                       ///< a source that also takes current up to its limit
  bool open_drain = false;                  ///< a pulse source that only pulls down, so that the pull-up's side shows
};

/// Feature bits of a bench.
enum class Feature : std::uint32_t {
  until_on_bench = 1u << 0,  ///< the bench itself ends `until` segments
  paced = 1u << 1,           ///< bench time runs with real time
  interlock = 1u << 2,
};

/// What a bench can do, as plain data; the check holds a scenario against it before anything is energised.
struct Capabilities {
  std::string identity;  ///< maker's words: model, serial, firmware
  std::vector<Port> ports;
  std::uint32_t set_points = 0;          ///< mask of SetPointKind
  std::uint32_t features = 0;            ///< mask of Feature
  std::uint32_t tick_rate = 10'000'000;  ///< ticks per second of the base clock
  double tick_tolerance_ppm = 0;
  Nanoseconds grid{1'000'000};       ///< segments begin and end on multiples of this; also the envelope's finest bin
  Nanoseconds append_lead{0};        ///< how long before its start an appended segment must be there
  std::uint32_t queue_entries = 0;   ///< events and segments the bench can hold; 0: no limit
  double link_bytes_per_second = 0;  ///< capacity towards the host; 0: no limit
  bool has(Feature feature) const { return features & static_cast<std::uint32_t>(feature); }
  std::optional<PortId> find(std::string_view name) const;
};

}  // namespace rig
