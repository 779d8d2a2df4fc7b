#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/supply_plan.hpp"

namespace rig {

/// What a bench's supplies cannot follow is refused before anything is energised.
void check_supply_claims(const SupplySpec& step, ClaimList& list) {
  const auto where = list.controller_pin("battery");
  if (!(list.can.set_points & bit(SetPointKind::ramp)))
    list.refuse(step.name, where, "the bench cannot play a ramp", "Use a bench that can, or take the step out");
  const auto& supply = list.port(list.bench.wiring.battery);
  const auto inrush = list.product.battery.highest_inrush;
  if (supply.current_limit > Amperes{0} && supply.current_limit < inrush)
    list.refuse(step.name, where,
                fmt::format("'{}' gives {:g} A, a unit that starts again in a course may draw {:g} A", supply.name,
                            supply.current_limit.value(), inrush.value()),
                "Wire a supply of more current");
  const auto made = played_courses(step, list.product, list.bench);
  if (const auto* troubles = std::get_if<std::vector<std::string>>(&made))
    for (const auto& trouble : *troubles)
      list.refuse(step.name, "", trouble, "Take the course out, change it, or use a bench that can follow it");
}

}  // namespace rig
