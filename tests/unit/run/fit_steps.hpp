#pragma once

#include <algorithm>

#include <fmt/format.h>

#include "tests/unit/run/emulated_run.hpp"

/// Single steps of a scenario, played on the emulated bench.
namespace fit {

inline rig::Scenario only(std::vector<rig::StepSpec> steps, rig::Scenario like = shipped::end_of_line()) {
  like.steps = std::move(steps);
  return like;
}

inline const rig::Finding& find(const rig::Outcome& outcome, std::string_view id) {
  const auto found =
      std::find_if(outcome.findings.begin(), outcome.findings.end(), [&](const rig::Finding& f) { return f.id == id; });
  INFO("no finding " << id);
  REQUIRE(found != outcome.findings.end());
  return *found;
}

/// Every finding that is no pass, one a line.
inline std::string not_passed(const rig::Outcome& outcome) {
  std::string text;
  for (const auto& f : outcome.findings)
    if (f.verdict != rig::Verdict::pass)
      text += fmt::format("{} {} {:g} {} +-{:g}: {}\n", rig::to_text(f.verdict), f.id, f.value, f.in, f.uncertainty,
                          f.reason);
  return text;
}

}  // namespace fit
