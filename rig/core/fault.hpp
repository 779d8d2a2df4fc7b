#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/connector_side.hpp"
#include "rig/core/quantity.hpp"

/// What a bench does on purpose to a module's wires, and what the module owes then.
namespace rig {

enum class FaultKind {
  open,                ///< the wire is broken
  short_to_ground,     ///< through the bench's small resistance, as every short here
  short_to_reference,  ///< to a 5 V rail
  short_to_battery,
  joined,         ///< with the pin beside it
  worn,           ///< a resistance in the wire
  intermittent,   ///< broken in bursts
  out_of_range,   ///< the sensor gives a voltage beyond its diagnostic rails
  frozen,         ///< the sensor keeps its voltage whatever the engine does
  jump,           ///< the sensor's pressure jumps faster than any manifold can
  lost_edges,     ///< the speed signal stops
  doubled_edges,  ///< twice as many edges as the engine makes
  over_speed,     ///< beyond the limiter
  hang,           ///< the module's program stands still, asked for over its service port
  disagree,       ///< the two pressures lie further apart than an engine can bring them
};
/// As files and findings say it: "short_to_ground".
std::string_view to_text(FaultKind kind);
std::optional<FaultKind> fault_kind_from_text(std::string_view text);

/// Whether a unit may be sold that has been through it.
enum class Harm {
  harmless,
  stress  ///< not for sale until fully retested
};

/// What an output must do once a fault is there.
enum class OutputMust {
  pass_through,  ///< out = in: the shift is gone
  follow_fault,  ///< out beyond the diagnostic rail that the input is beyond, so that the controller sees the fault
  hold,          ///< stay where it was
  keep_table,    ///< go on as the table says for what its pins carry
  stand_at       ///< a stated voltage
};
struct OutputReaction {
  OutputMust must = OutputMust::pass_through;
  std::optional<Volts> level = {};  ///< with stand_at
};

/// From the fault at the pin to the reaction being complete and staying complete: `intervals` of the speed signal as it
/// was before, plus `time`.
struct Deadline {
  double intervals = 0;
  Nanoseconds time{50'000'000};
};

enum class Recovering {
  by_itself,  ///< within a time after the fault has gone
  latched,    ///< once power has been cycled, and not before
  never       ///< the unit is not expected to work again
};
struct Recovery {
  Recovering how = Recovering::by_itself;
  Nanoseconds within{1'500'000'000};  ///< by itself: from the fault's end; latched: from power coming back
};

/// What a product promises for some faults on some wires. The last rule that holds wins.
struct ReactionRule {
  std::vector<FaultKind> faults;      ///< empty: every kind
  std::vector<std::string> wires;     ///< what they carry; empty: every wire
  std::optional<ConnectorSide> side;  ///< nothing: either
  OutputReaction own, others;         ///< of the output whose wire it is, and of every other pressure output
  Deadline deadline;
  Recovery recovery;
  Harm harm = Harm::harmless;            ///< a short to battery is stress whatever a rule says
  Nanoseconds longest_spike{2'000'000};  ///< an output may be outside its sensor's voltages for no longer
};

}  // namespace rig
