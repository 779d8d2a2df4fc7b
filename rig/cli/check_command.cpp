#include <iostream>
#include <string>
#include <vector>

#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/compile/load.hpp"
#include "rig/compile/plan.hpp"

namespace rig {
namespace {

/// What a bench cannot do of a scenario. REQUIRES: nothing is wrong with either file.
Complaints check_together(const std::string& scenario_file, const std::string& bench_file) {
  const auto scenario = load_scenario(scenario_file);
  const auto bench = load_bench(bench_file);
  if (!scenario.value || !bench.value) return {};
  return compile(*scenario.value, *bench.value, capabilities_of(*bench.value)).complaints;
}

void print_complaints(const std::string& what, const Complaints& complaints) {
  for (const auto& complaint : complaints) std::cout << to_text(complaint) << '\n';
  if (complaints.empty()) std::cout << what << ": nothing wrong\n";
}

}  // namespace

/// Each file by itself; then each scenario on each bench, where both are named.
int check_command(const CheckCommand& asked) {
  Json report{{"format", kJsonFormat}, {"files", Json::array()}, {"together", Json::array()}};
  std::vector<std::string> scenarios, benches;
  std::size_t wrong = 0;
  for (const auto& file : asked.files) {
    const auto checked = check_file(file);
    wrong += checked.complaints.empty() ? 0 : 1;
    if (checked.complaints.empty() && checked.kind == FileKind::scenario) scenarios.push_back(file);
    if (checked.complaints.empty() && checked.kind == FileKind::bench) benches.push_back(file);
    if (asked.json)
      report["files"].push_back({{"file", file}, {"complaints", to_json(checked.complaints)}});
    else
      print_complaints(file, checked.complaints);
  }
  for (const auto& scenario : scenarios) {
    for (const auto& bench : benches) {
      const auto complaints = check_together(scenario, bench);
      wrong += complaints.empty() ? 0 : 1;
      if (asked.json)
        report["together"].push_back({{"scenario", scenario}, {"bench", bench}, {"complaints", to_json(complaints)}});
      else
        print_complaints(scenario + " on " + bench, complaints);
    }
  }
  if (asked.json) print(report);
  return wrong ? kBadInput : kDone;
}

}  // namespace rig
