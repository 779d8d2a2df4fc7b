#pragma once

#include <vector>

#include "rig/compile/fault_spec.hpp"
#include "rig/compile/script.hpp"

/// How one fault is played: what the bench does at which moment of its segment.
namespace rig {

/// Times of a fault's segment, from the segment's start. What is commanded then; when it is there, the pins tell.
struct FaultTimes {
  Nanoseconds on{0};   ///< the fault comes; intermittent: its last burst
  Nanoseconds off{0};  ///< it goes
  Nanoseconds end{0};
  Nanoseconds first{0};        ///< intermittent: its first burst; else as `on`
  Nanoseconds travel{0};       ///< of the relays it takes: by then after a command it is there, or gone
  Nanoseconds deadline{0};     ///< from the fault at the pin
  Nanoseconds window_from{0};  ///< the lines are looked at closely from here ...
  Nanoseconds window_to{0};    ///< ... to here
  /// Whether the fault lasts long enough for its reaction to be due.
  bool reaction_due() const { return off - on >= travel + deadline; }
};
FaultTimes times_of(const Product& product, const BenchSetup& bench, const FaultCase& one);

/// The fastest that a case turns the engine, and that any of a step's does.
Rpm fastest_of(const FaultCase& one, const Product& product);
Rpm fastest_of(const FaultSpec& spec, const Product& product);

/// The pressures of a point: the one that indexes the tables, and the other as the sweep lays it.
std::vector<Kilopascals> pressures_at(const Product& product, const FaultPoint& point);

/// Whether a good module falls back for it, and counts it towards a latch.
bool falls_back(const Product& product, const FaultCase& one);
/// Whether it takes the module's supply away: what it counted is forgotten.
bool cycles_power(const FaultCase& one);

/// What the fault needs of the bench.
struct FaultPorts {
  struct Switch {
    PortId relay;
    bool closed;
  };
  std::vector<Switch> prepare;  ///< before it: changes nothing at the wire
  std::vector<Switch> come, go;
  std::vector<Switch> restore;  ///< after it
  std::vector<PortId>
      expected;         ///< sources that may be at their current limit, senses at their range's end, through it
  std::string missing;  ///< what the bench does not have, in words; empty when it has all
};
FaultPorts ports_of(const Product& product, const BenchSetup& bench, const FaultCase& one);

/// Writes the one segment in which a fault comes, stays and goes, and the module recovers. REQUIRES: nothing missing.
void play_fault(const FaultCase& one, Celsius temperature, std::vector<Segment>& into, Script& script);

}  // namespace rig
