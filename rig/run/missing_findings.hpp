#pragma once

#include <set>
#include <span>
#include <string>
#include <string_view>
#include <vector>

#include "rig/compile/judgement.hpp"
#include "rig/compile/plan.hpp"

namespace rig {

/// Every characteristic that was promised and did not come, as void: it forbids a pass.
inline std::vector<Finding> missing_findings(const Plan& plan, std::span<const Finding> found) {
  std::set<std::string_view> seen;
  for (const auto& finding : found) seen.insert(finding.id);
  std::vector<Finding> missing;
  auto owe = [&](const std::vector<std::string>& ids, const std::string& step) {
    for (const auto& id : ids)
      if (!seen.contains(id)) missing.push_back(not_measured({id, step, ""}, "it was not measured"));
  };
  for (const auto& step : plan.steps) owe(step->characteristics(), step->name());
  for (const auto& watch : plan.watches) owe(watch->characteristics(), std::string{watch->name()});
  return missing;
}

}  // namespace rig
