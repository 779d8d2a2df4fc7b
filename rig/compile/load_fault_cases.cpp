#include <algorithm>

#include "rig/compile/fault_matrix.hpp"
#include "rig/compile/fault_reader.hpp"
#include "rig/compile/load_reactions.hpp"
#include "rig/core/quantity_text.hpp"

/// One case for each combination of what a line of the matrix names, with what the product owes for it.
namespace rig {

using yaml::MapReader;
using yaml::Node;

void FaultReader::write_cases(const FaultGroup& group) {
  for (const auto& point : group.points)
    for (const auto kind : group.kinds)
      for (const auto& [pin, other] : group.wires) {
        FaultCase one;
        one.kind = kind, one.pin = pin, one.joined_to = other, one.at = point;
        one.lasts = group.lasts, one.during = group.during, one.moves_to = group.moves_to;
        if (const auto why = senseless(*product_, one); !why.empty())
          leave_out(group, one, why);
        else if (kind == FaultKind::hang && product_->service->hang.empty())
          complaints_.add(group.place, "the product's file does not say what makes its program stand still",
                          "Write it as `hang` under `service:` there, or take the fault out");
        else
          add_variants(group, std::move(one));
      }
}

void FaultReader::leave_out(const FaultGroup& group, const FaultCase& one, const std::string& why) {
  const auto what = fmt::format("'{}' of {} {}", fault_text(one), wire_text(one), why);
  if (!group.whole && !(one.end && group.every_end))
    complaints_.add(group.place, what, "Take it out");
  else if (std::find(spec_.left_out.begin(), spec_.left_out.end(), what) == spec_.left_out.end())
    spec_.left_out.push_back(what);
}

void FaultReader::add_variants(const FaultGroup& group, FaultCase one) {
  const bool behind = !sensors_behind(*product_, one).empty();
  const bool line = find_pressure(*product_, one.pin.carries) || one.pin.carries == "speed" ||
                    (product_->temperature && product_->temperature->name == one.pin.carries);
  if (one.kind == FaultKind::open && !behind && line && one.pin.side == ConnectorSide::sensor) {
    for (const auto end : group.ends) {
      one.end = end;
      if (const auto why = senseless(*product_, one); !why.empty())
        leave_out(group, one, why);
      else
        add(group, one);
    }
  } else if (one.kind == FaultKind::out_of_range) {
    for (const auto beyond : group.beyond) one.beyond = beyond, add(group, one);
  } else {
    if (one.kind == FaultKind::intermittent)
      one.bursts = group.bursts, one.open_for = group.open_for, one.made_for = group.made_for;
    if (one.kind == FaultKind::jump || one.kind == FaultKind::disagree) one.by = group.by;
    add(group, one);
  }
}

void FaultReader::add(const FaultGroup& group, FaultCase one) {
  const auto* owed = owed_for(product_->reactions, one);
  if (owed) one.owed = *owed;
  const Harm promised = harm_of(one);
  const Node* expect = group.expect;
  if (!owed && !expect) {
    complaints_.add(
        group.place,
        fmt::format("the product does not say what it does when {} is '{}'", wire_text(one), to_text(one.kind)),
        "Add a rule under `reactions:` in the product's file, or an `expect` here");
    return;
  }
  if (expect) {
    MapReader map{*expect, complaints_, "`expect`"};
    read_reaction(map, one.owed);
    if (promised == Harm::stress) one.owed.harm = promised;  // a scenario may warn of more harm, never of less
    if (map.find("deadline")) check_lasts(group, one);
  }
  if (const auto why = hides_fault(*product_, one))
    complain_once(expect ? expect->place : group.place, *why, kShowTheFault);
  const auto name =
      fmt::format("{}/{}@{},{}", wire_text(one), fault_text(one), to_text(one.at.speed), to_text(one.at.pressure));
  if (!names_.insert(name).second) {
    complaints_.add(group.place, fmt::format("'{}' is there twice", name), "Keep one: findings are found by this name");
    return;
  }
  spec_.cases.push_back(std::move(one));
}

/// A fault shorter than the product's deadline is a question of its own: nothing need happen. One for which the
/// scenario itself sets a deadline must reach it, or nobody would ever look.
void FaultReader::check_lasts(const FaultGroup& group, const FaultCase& one) {
  if (!one.lasts || *one.lasts >= due_after(*product_, one)) return;
  complain_once(group.place, fmt::format("'{}' of {} ends before its deadline", to_text(one.kind), wire_text(one)),
                "Let it last longer, or take `deadline` out");
}

void FaultReader::complain_once(yaml::Place place, const std::string& what, std::string_view remedy) {
  if (said_.insert(fmt::format("{}:{}: {}", place.line, place.column, what)).second)
    complaints_.add(place, what, std::string{remedy});
}

}  // namespace rig
