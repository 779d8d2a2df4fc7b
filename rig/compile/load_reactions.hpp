#pragma once

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
/// Whether the rules speak of wires that the product has. `list` is where they stand.
void check_reactions(const Product& product, const yaml::Node& list, yaml::PlacedComplaints& complaints);

}  // namespace rig
