#include "rig/compile/fault_spec.hpp"

#include <algorithm>

#include "rig/compile/fault_harm.hpp"
#include "rig/compile/scenario.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

bool is_ground(const std::string& carries) { return carries == "ground" || carries == "sensor_ground"; }
bool is_rail(const std::string& carries) { return carries.starts_with("rail_"); }

/// What another wire becomes when it touches this one.
std::optional<FaultKind> touching(const std::string& carries) {
  if (is_ground(carries)) return FaultKind::short_to_ground;
  if (is_rail(carries)) return FaultKind::short_to_reference;
  if (carries == "battery") return FaultKind::short_to_battery;
  return std::nullopt;
}

/// What happens to a pin that touches another one.
std::vector<FaultKind> kinds_at(const FaultCase& one, const FaultPin* other) {
  std::vector<FaultKind> kinds{one.kind};
  if (other)
    if (const auto also = touching(other->carries)) kinds.push_back(*also);
  return kinds;
}

bool holds(const ReactionRule& rule, const FaultPin& pin, const std::vector<FaultKind>& kinds) {
  const bool kind = rule.faults.empty() || std::any_of(kinds.begin(), kinds.end(), [&](FaultKind k) {
                      return std::find(rule.faults.begin(), rule.faults.end(), k) != rule.faults.end();
                    });
  // A fault of no wire is met by its kind, or by a rule for everything.
  if (pin.carries.empty()) return kind && rule.wires.empty() && !rule.side;
  const bool wire =
      rule.wires.empty() || std::find(rule.wires.begin(), rule.wires.end(), pin.carries) != rule.wires.end();
  return kind && wire && (!rule.side || *rule.side == pin.side);
}

bool holds(const ReactionRule& rule, const FaultCase& one) {
  if (!one.joined_to) return holds(rule, one.pin, kinds_at(one, nullptr));
  return holds(rule, one.pin, kinds_at(one, &*one.joined_to)) || holds(rule, *one.joined_to, kinds_at(one, &one.pin));
}

}  // namespace

const ReactionRule* owed_for(const std::vector<ReactionRule>& rules, const FaultCase& one) {
  const auto found =
      std::find_if(rules.rbegin(), rules.rend(), [&](const ReactionRule& rule) { return holds(rule, one); });
  return found == rules.rend() ? nullptr : &*found;
}

Harm harm_of(const FaultCase& one) {
  const bool battery = one.kind == FaultKind::short_to_battery ||
                       (one.joined_to && (one.pin.carries == "battery" || one.joined_to->carries == "battery"));
  // Nobody sells a unit that is not expected to work again.
  return battery || one.owed.recovery.how == Recovering::never ? Harm::stress : one.owed.harm;
}

std::string wire_text(const FaultCase& one) {
  if (one.kind == FaultKind::hang) return "service";
  if (one.kind == FaultKind::disagree) return "pressures";
  if (one.joined_to) return one.pin.name + "+" + one.joined_to->name;
  return one.pin.carries + (one.pin.side == ConnectorSide::controller ? ",controller" : "");
}

std::string fault_text(const FaultCase& one) {
  std::string text{to_text(one.kind)};
  if (one.end) text += *one.end == OpenEnd::up ? ",up" : *one.end == OpenEnd::down ? ",down" : ",disconnected";
  if (one.beyond) text += *one.beyond == BeyondRail::low ? ",low" : ",high";
  if (one.lasts) text += "," + shortest_text(1e3 * seconds(*one.lasts)) + "ms";
  if (one.during) text += ",during";
  return text;
}

bool stresses(const Scenario& scenario) {
  return std::any_of(scenario.steps.begin(), scenario.steps.end(), [](const StepSpec& step) {
    const auto* faults = std::get_if<FaultSpec>(&step);
    return faults && std::any_of(faults->cases.begin(), faults->cases.end(),
                                 [](const FaultCase& one) { return harm_of(one) == Harm::stress; });
  });
}

}  // namespace rig
