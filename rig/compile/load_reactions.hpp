#pragma once

#include "rig/compile/fault_spec.hpp"
#include "rig/compile/load_parts.hpp"
#include "rig/core/fault.hpp"

namespace rig {

/// One of the kinds of faults, or nothing with a complaint.
std::optional<FaultKind> read_fault_kind(const yaml::Node& node, yaml::PlacedComplaints& complaints);
/// The keys that say what is owed for a fault: own, others, deadline, recovery, longest_spike, harm. What is left out
/// stays as it is.
void read_reaction(yaml::MapReader& map, ReactionRule& rule);
/// A product's rules, in order.
std::vector<ReactionRule> read_reactions(const yaml::Node& node, yaml::PlacedComplaints& complaints);
/// Why what is owed for a case would hide a sensor's own fault from the controller, in words; nothing when it does not.
std::optional<std::string> hides_fault(const Product& product, const FaultCase& one);
constexpr std::string_view kShowTheFault = "Write `own: follow_fault` or `own: pass_through`";
/// From a case's fault at the pin to when its reaction is due.
Nanoseconds due_after(const Product& product, const FaultCase& one);
/// Whether the rules speak of wires that the product has, and hide no sensor's own fault. `list` is where they stand.
void check_reactions(const Product& product, const yaml::Node& list, yaml::PlacedComplaints& complaints);

}  // namespace rig
