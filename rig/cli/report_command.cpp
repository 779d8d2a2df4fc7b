#include <algorithm>
#include <fstream>
#include <iostream>

#include <fmt/format.h>

#include "reports/run_report.hpp"
#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/cli/run_notes.hpp"
#include "rig/cli/run_policy.hpp"
#include "rig/cli/run_strips.hpp"
#include "rig/store/store_error.hpp"
#include "rig/store/store_reader.hpp"

namespace rig {
namespace {

/// In a few words, what a step proves.
std::string purpose_of(const std::string& step) {
  const std::pair<const char*, const char*> known[] = {
      {"self_test_closing", "the bench alone again, after the last step: was it fit to judge?"},
      {"self_test", "the bench alone, the unit cut off: is it fit to judge?"},
      {"contacts", "before any power: opens, shorts and the resistance of every line from pin to pin"},
      {"loading", "what the unit does to its sensors' lines, its outputs to a controller, and the rails and grounds"},
      {"speed_line", "the speed line as the product says it is: through-resistance, levels, edges, thresholds"},
      {"identify", "which unit, hardware, firmware and tables it says it is"},
      {"program", "a program beside the bench: loading and locking the firmware"},
      {"warm_up", "the bench's own drift over a stretch of time"},
      {"disturbance", "what the unit did to a bench that is well without it"},
      {"power_up", "cold starts: time to work, current, no glitch on any output meanwhile"},
      {"pass_through",
       "out = in wherever the module must not shift: without power, half powered, standing, idling, at the rails"},
      {"sweep", "the map over speed and pressure, each point read once settled"},
      {"last_pass_through", "out = in once more without power: taken out or dead, the engine is as its maker built it"},
      {"derate", "how the shift goes away as the intake air warms"},
      {"faults", "a wire broken, shorted or worn, a signal wrong: what the unit does, by when, and how it comes back"},
      {"step_response", "a sudden pressure: delay, settling and overshoot of the output"},
      {"supply", "the battery and the 5 V rails through dips, ramps and cranking"},
      {"replay", "a recorded drive played again: the output against the tables all along"},
      {"hold", "standing still: noise and drift"},
      {"connection", "was a unit there at all?"},
      {"ceiling", "the product's hard ceiling, over every reading of the run"},
  };
  for (const auto& [name, what] : known)
    if (step == name) return what;
  return "";
}

std::string moment(WallTime time) {
  auto text = to_text(time);  // 2026-03-01T12:00:00.250Z
  return text.size() < 19 ? text : text.substr(0, 10) + " " + text.substr(11, 8) + " UTC";
}

void add_strips(const StoreReader& reader, const StoredRun& run, RunReport& report) {
  auto drawn = strips_of(reader, run);
  report.strips_missing = std::move(drawn.missing);
  for (auto& [name, strips] : drawn.steps)
    for (auto& step : report.steps)
      if (step.name == name) step.strips = std::move(strips);
}

RunReport fill(const StoreReader& reader, const StoredRun& run) {
  RunReport report;
  const auto& opened = run.opened;
  report.run = run.number;
  report.run_id = run.id;
  report.serial = opened.serial;
  report.attempt = static_cast<int>(opened.attempt);
  report.reseats = static_cast<int>(run.reseats);
  report.reseat = run.reseated();
  report.product = opened.product;
  report.scenario = opened.scenario;
  report.purpose = opened.purpose == "end_of_line" ? "end of line" : opened.purpose;
  report.bench = opened.bench;
  report.program_version = opened.program;
  report.operator_name = opened.operator_name;
  report.opened_at = moment(opened.opened_at);
  for (const auto& input : opened.inputs) {
    if (input.role == "scenario") report.scenario_hash = input.sha256;
    report.inputs.push_back({input.path, input.sha256});
  }
  for (const auto& defect : opened.defects)
    report.remarks.push_back("The unit is emulated, with the defect " + defect + ".");
  if (run.closed) {
    report.closed_at = moment(run.closed->closed_at);
    report.bench_seconds = seconds(run.closed->bench_duration);
    report.verdict = run.closed->verdict;
    report.reason = run.closed->reason;
    if (!run.closed->outputs_safe)
      report.remarks.push_back("The bench did not confirm that its outputs were safe at the end.");
  } else {
    report.reason = "The run is not closed yet.";
  }
  if (retest_due(reader, opened.serial))
    report.barred = fmt::format("unit {} is {}: it has been stressed, and no end-of-line run has passed since",
                                opened.serial, kNotForSale);
  const auto events = reader.events(run.number);
  report.identity = noted(events, "identity");
  report.surroundings = noted(events, "surroundings");
  for (auto& line : other_events(events)) report.remarks.push_back(std::move(line));
  for (auto& stored : reader.findings(run.number)) {
    const auto& step = stored.finding.step;
    const auto known =
        std::any_of(report.steps.begin(), report.steps.end(), [&](const auto& s) { return s.name == step; });
    if (!known) report.steps.push_back({step, purpose_of(step), {}});
    report.findings.push_back(std::move(stored.finding));
  }
  add_strips(reader, run, report);
  return report;
}

}  // namespace

int report_command(const ReportCommand& asked) {
  const StoreReader reader{asked.store};
  const auto run = reader.load_run(asked.run);
  const auto html = to_html(fill(reader, run));
  if (asked.out == "-") {
    std::cout << html << std::flush;
    return kDone;
  }
  std::ofstream file{asked.out, std::ios::binary};
  file << html << std::flush;
  if (!file) {
    std::cerr << asked.out << ": the report could not be written. Check the folder and the space on its disk.\n";
    return kBadInput;
  }
  if (asked.json)
    print(Json{{"format", kJsonFormat}, {"run", run.number}, {"file", asked.out}});
  else
    std::cerr << fmt::format("report of run {} (unit {}): {}\n", run.number, run.opened.serial, asked.out);
  return kDone;
}

}  // namespace rig
