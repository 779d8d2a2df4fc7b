#include <filesystem>
#include <iostream>
#include <map>

#include <unistd.h>

#include <fmt/format.h>

#include "rig/cli/bench_request.hpp"
#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/cli/run_policy.hpp"
#include "rig/cli/run_text.hpp"
#include "rig/cli/terminal.hpp"
#include "rig/store/store_error.hpp"
#include "rig/store/store_reader.hpp"
#include "rig/store/verify.hpp"

namespace rig {

void need_store(const std::string& path) {
  if (!std::filesystem::exists(path))
    throw StoreError{StoreError::Kind::not_found, path, "there is no store here",
                     "Name one with --store, or run a unit first"};
}

int list_command(const ListCommand& asked) {
  RunFilter filter{asked.serial, {}, asked.limit};
  if (asked.verdict) {
    const bool reseat = *asked.verdict == "re-seat";
    filter.verdict = reseat ? Verdict::void_ : verdict_from_text(*asked.verdict);
    filter.reseated = reseat;
    if (!filter.verdict) {
      std::cerr << "'" << *asked.verdict << "': no such verdict. Use pass, fail, undecided, void or re-seat.\n";
      return kBadInput;
    }
  }
  need_store(asked.store);
  const StoreReader reader{asked.store};
  const auto runs = reader.list_runs(filter);
  std::map<std::string, bool> due;  // by serial
  for (const auto& run : runs)
    if (!due.contains(run.opened.serial)) due[run.opened.serial] = retest_due(reader, run.opened.serial);
  if (asked.json) {
    Json json{{"format", kJsonFormat}, {"runs", Json::array()}};
    for (const auto& run : runs) json["runs"].push_back(to_json(run, due[run.opened.serial]));
    print(json);
    return kDone;
  }
  if (runs.empty()) std::cerr << "no run fits\n";
  const bool colour = colour_on(STDOUT_FILENO);
  for (const auto& run : runs) {
    const auto verdict = run.closed ? verdict_words(*run.closed, false) : std::string{"... under way"};
    std::cout << fmt::format("{:>6}  {:<14} {:<14} attempt {:<3} {:<24} {}\n", run.number, verdict, run.opened.serial,
                             run.opened.attempt, to_text(run.opened.opened_at), run.opened.scenario);
    if (due[run.opened.serial]) std::cout << fmt::format("          {}\n", kNotForSale);
    if (run.closed && !run.closed->reason.empty()) std::cout << dim("          " + run.closed->reason, colour) << '\n';
  }
  return kDone;
}

int show_command(const ShowCommand& asked) {
  need_store(asked.store);
  const StoreReader reader{asked.store};
  const auto run = reader.load_run(asked.run);
  const auto findings = reader.findings(run.number);
  const auto events = reader.events(run.number);
  const bool due = retest_due(reader, run.opened.serial);
  if (asked.json)
    print(to_json(run, findings, events, due));
  else
    print_run(run, findings, events, due, asked.all);
  return kDone;
}

int verify_command(const VerifyCommand& asked) {
  need_store(asked.store);
  VerifyOptions options;
  options.known_head = asked.head;
  const auto report = verify_store(asked.store, options);
  if (asked.json) {
    Json json{{"format", kJsonFormat},       {"sound", report.sound()}, {"rows", report.rows},
              {"payloads", report.payloads}, {"head", report.head},     {"advice", report.advice()},
              {"findings", Json::array()}};
    for (const auto& f : report.findings)
      json["findings"].push_back({{"kind", to_text(f.kind)},
                                  {"table", f.table},
                                  {"row", f.row},
                                  {"run", f.run ? Json(*f.run) : Json(nullptr)},
                                  {"text", f.text}});
    print(json);
  } else {
    for (const auto& f : report.findings) std::cout << to_text(f.kind) << ": " << f.text << '\n';
    std::cout << fmt::format("{}: {} rows, {} traces; head {}\n{}\n", report.sound() ? "sound" : "NOT SOUND",
                             report.rows, report.payloads, report.head, report.advice());
  }
  return report.sound() ? kDone : kNotPassed;
}

}  // namespace rig
