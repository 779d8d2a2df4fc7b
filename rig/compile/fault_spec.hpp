#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/core/fault.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

/// A fault step as its file describes it: the matrix of wires, faults and operating points, written out case by case,
/// each with what the product owes for it.
namespace rig {

/// What the open end of a wire is drawn to, so that nothing depends on what it happens to float at.
enum class OpenEnd { up, down, disconnected };
/// Beyond which of its diagnostic rails a sensor goes.
enum class BeyondRail { low, high };

/// A pin that something is done to, and what it carries.
struct FaultPin {
  std::string carries;
  ConnectorSide side = ConnectorSide::sensor;
  std::string name = {};  ///< as the drawing has it; empty where the product's file tells no pins
};

struct FaultPoint {
  Rpm speed{3500};
  Kilopascals pressure{200};  ///< of the pressure that indexes the tables
};
/// The engine on its way from the case's point to another one while the fault comes and goes.
struct FaultTransient {
  FaultPoint to;
  Nanoseconds over{600'000'000};
};

/// One fault at one operating point.
struct FaultCase {
  FaultKind kind = FaultKind::open;
  FaultPin pin;                             ///< `carries` is empty for what concerns no wire (hang, disagree)
  std::optional<FaultPin> joined_to = {};   ///< joined
  std::optional<OpenEnd> end = {};          ///< open
  std::optional<BeyondRail> beyond = {};    ///< out_of_range
  int bursts = 0;                           ///< intermittent
  Nanoseconds open_for{0}, made_for{0};     ///< intermittent: of each burst
  Kilopascals by{0};                        ///< jump: how far; disagree: how far the two lie apart
  std::optional<FaultPoint> moves_to = {};  ///< frozen: where the engine goes meanwhile
  std::optional<Nanoseconds> lasts = {};    ///< nothing: as long as its deadline asks for
  FaultPoint at;
  std::optional<FaultTransient> during = {};
  ReactionRule owed;  ///< the product's rule for it, with what the scenario says otherwise
};

struct FaultSpec {
  std::string name = "fault";
  std::vector<FaultCase> cases;
  std::vector<std::string> left_out;  ///< what was asked for as part of a whole and makes no sense, in words
  Celsius temperature{25};
  Tolerance through{0.020, 0};  ///< V, out against in where an output must pass through
  Tolerance band{2.0, 0};       ///< kPa, of an output that must keep to the table
  int power_cycle_after = 3;    ///< fall-backs in a row; a module may latch after a few within some seconds
};

/// What a product owes for a fault, by the last of its rules that holds; nothing when none does. Of two wires that
/// touch, a rule may name either; one that touches ground, a rail or the battery is shorted to it.
const ReactionRule* owed_for(const std::vector<ReactionRule>& rules, const FaultCase& one);

/// Whether a unit may be sold after it: battery voltage on a wire that does not carry it may hurt what it reaches,
/// whatever the product's rules say.
Harm harm_of(const FaultCase& one);

/// "charge_pressure", "charge_pressure,controller", "S2+S6", "service": what a finding's name says of the wire.
std::string wire_text(const FaultCase& one);
/// "open,up", "out_of_range,low", "lost_edges,20ms", "open,down,during".
std::string fault_text(const FaultCase& one);

}  // namespace rig
