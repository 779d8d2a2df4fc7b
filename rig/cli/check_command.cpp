#include <iostream>

#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/compile/load.hpp"

namespace rig {

int check_command(const CheckCommand& asked) {
  Json report{{"format", kJsonFormat}, {"files", Json::array()}};
  std::size_t wrong = 0;
  for (const auto& file : asked.files) {
    const auto checked = check_file(file);
    wrong += checked.complaints.empty() ? 0 : 1;
    if (asked.json) {
      report["files"].push_back({{"file", file}, {"complaints", to_json(checked.complaints)}});
      continue;
    }
    for (const auto& complaint : checked.complaints) std::cout << to_text(complaint) << '\n';
    if (checked.complaints.empty()) std::cout << file << ": nothing wrong\n";
  }
  if (asked.json) print(report);
  return wrong ? kBadInput : kDone;
}

}  // namespace rig
