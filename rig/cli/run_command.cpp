#include <algorithm>
#include <csignal>
#include <iostream>

#include <unistd.h>

#include <fmt/format.h>

#include "rig/cli/bench_request.hpp"
#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/program_runner.hpp"
#include "rig/cli/progress_line.hpp"
#include "rig/cli/run_facts.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/cli/run_policy.hpp"
#include "rig/cli/run_recorder.hpp"
#include "rig/cli/run_text.hpp"
#include "rig/cli/signals.hpp"
#include "rig/cli/terminal.hpp"
#include "rig/cli/version.hpp"
#include "rig/compile/fault_harm.hpp"
#include "rig/core/rig_fault.hpp"
#include "rig/run/run.hpp"
#include "rig/store/free_space.hpp"
#include "rig/store/store_reader.hpp"
#include "rig/store/store_writer.hpp"

namespace rig {
namespace {

/// Everything that is read before anything is opened.
struct Prepared {
  Scenario scenario;
  BenchSetup bench;
  std::vector<RunInput> inputs;
  drivers::OpenRequest request;
  std::optional<Scenario> shift_start;  ///< what the bench must have passed lately, where its file says so
  KeptFacts known;                      ///< beforehand
  std::shared_ptr<const Plan> plan;     ///< against what the bench's file promises
};

bool for_sale(const Prepared& prepared) { return prepared.scenario.purpose == Purpose::end_of_line; }

std::string_view word_of(Purpose purpose) {
  switch (purpose) {
    case Purpose::end_of_line:
      return "end_of_line";
    case Purpose::regression:
      return "regression";
    case Purpose::trial:
      return "trial";
    case Purpose::bench:
      break;
  }
  return "bench";
}

void keep_inputs(std::vector<RunInput>& inputs, const char* first_role, const std::vector<SourceFile>& files) {
  for (std::size_t i = 0; i < files.size(); ++i)
    inputs.push_back({i == 0 ? first_role : "product", files[i].path, files[i].bytes, {}});
}

bool make_plan(Prepared& prepared) {
  auto compiled = compile(prepared.scenario, prepared.bench, capabilities_of(prepared.bench), prepared.known.facts);
  if (complain(compiled.complaints)) return false;
  prepared.plan = std::move(compiled.plan);
  return true;
}

/// What the files alone say against an end-of-line run, or against a plug's: neither may be made under the other's
/// number.
bool fit_for_sale(const RunCommand& asked, Prepared& prepared) {
  if (!for_sale(prepared) && !prepared.scenario.product->straight_through) return true;
  if (const auto trouble = serial_pattern_trouble(prepared.scenario.product->serial_pattern, asked.serial);
      !trouble.empty()) {
    std::cerr << trouble << ".\n";
    return false;
  }
  if (!for_sale(prepared) || prepared.bench.shift_start_scenario.empty()) return true;
  auto shift_start = load_scenario(prepared.bench.shift_start_scenario);
  if (complain(shift_start.complaints)) return false;
  if (shift_start.value->name != prepared.scenario.name) prepared.shift_start = std::move(shift_start.value);
  return true;
}

bool prepare(const RunCommand& asked, Prepared& prepared) {
  auto scenario = load_scenario(asked.scenario);
  auto bench = load_bench(asked.bench);
  std::vector<std::string> wrong;
  if (auto trouble = serial_trouble(asked.serial); !trouble.empty()) wrong.push_back(std::move(trouble));
  const auto product = scenario.value ? scenario.value->product : nullptr;
  prepared.request = bench_request(product, asked.serial, asked.defects, asked.troubles, wrong);
  bool bad = complain(scenario.complaints);
  bad = complain(bench.complaints) || bad;
  if (bench.value && bench.value->driver != "emulated" && !(asked.defects.empty() && asked.troubles.empty()))
    wrong.push_back("--defect and --trouble need an emulated bench; give them to 'proofstand emulate' instead");
  for (const auto& what : wrong) std::cerr << what << '\n';
  if (bad || !wrong.empty() || !scenario.value || !bench.value) return false;

  prepared.scenario = std::move(*scenario.value);
  prepared.bench = std::move(*bench.value);
  if (!asked.device.empty()) prepared.bench.device = asked.device;
  if (asked.seed) prepared.bench.seed = *asked.seed;
  keep_inputs(prepared.inputs, "scenario", scenario.files);
  keep_inputs(prepared.inputs, "bench", bench.files);
  prepared.known = facts_without_store(prepared.scenario, asked.serial);
  if (const auto trouble = asked.stress ? std::string{} : stress_trouble(prepared.scenario, asked.serial);
      !trouble.empty()) {
    std::cerr << trouble << ".\n";
    return false;
  }
  return fit_for_sale(asked, prepared) && make_plan(prepared);
}

/// What may have become of this unit and this bench since: whether the run may begin, and what it must know.
bool look_back(const RunCommand& asked, Prepared& prepared) {
  const StoreReader reader{asked.store};
  const auto now = wall_time_now();
  std::vector<std::string> wrong, remarks;
  if (for_sale(prepared) && !asked.after_void) wrong.push_back(set_aside_trouble(reader.attempts_of(asked.serial)));
  if (for_sale(prepared) && prepared.shift_start && !asked.without_shift_start)
    wrong.push_back(shift_start_trouble(reader, prepared.bench, *prepared.shift_start, now));
  std::erase(wrong, "");
  for (const auto& what : wrong) std::cerr << what << ".\n";
  if (!wrong.empty()) return false;
  prepared.known = gather_facts(reader, prepared.scenario, prepared.bench, asked.serial, now, remarks);
  for (const auto& remark : remarks) std::cerr << remark << ".\n";
  prepared.inputs.push_back({kFactsRole, "facts.json", facts_json(prepared.known), {}});
  return make_plan(prepared);
}

RunOpened opening(const RunCommand& asked, const Prepared& prepared) {
  RunOpened opened;
  opened.serial = asked.serial;
  opened.product = prepared.scenario.product->name;
  opened.scenario = prepared.scenario.name;
  opened.bench = prepared.bench.name;
  opened.purpose = word_of(prepared.scenario.purpose);
  opened.inputs = prepared.inputs;
  for (const auto& step : prepared.plan->steps) {
    const JudgeVersion judge{std::string{step->kind()}, step->judge_version()};
    if (std::find(opened.judges.begin(), opened.judges.end(), judge) == opened.judges.end())
      opened.judges.push_back(judge);
  }
  for (const auto& watch : prepared.plan->watches)
    opened.judges.push_back({std::string{watch->name()}, watch->judge_version()});
  opened.program = program_version();
  opened.operator_name = asked.operator_name;
  opened.defects = asked.defects;
  if (prepared.bench.driver == "emulated") opened.seed = prepared.bench.seed;
  return opened;
}

/// Before anything is energised: whatever becomes of the run, the unit may have been hurt.
void keep_stress(const RunCommand& asked, const Prepared& prepared, StoreWriter& writer, RunNumber run) {
  if (!stresses(prepared.scenario)) return;
  RunEvent event;
  event.run = run;
  event.kind = kStressEvent;
  event.text = std::string{"the scenario stresses the unit: "} + kNotForSale;
  event.who = asked.operator_name;
  writer.add_event(event);
}

/// Keeps with the run what a person decided against a rule.
void keep_overrides(const RunCommand& asked, const Prepared& prepared, StoreWriter& writer, RunNumber run) {
  auto keep = [&](const char* kind, const std::optional<std::string>& why) {
    if (!why || !for_sale(prepared)) return;
    RunEvent event;
    event.run = run;
    event.kind = kind;
    event.text = *why;
    event.who = asked.operator_name;
    writer.add_event(event);
  };
  keep("after void", asked.after_void);
  keep("without shift start", asked.without_shift_start);
}

/// Opens the bench, holds the plan against what it really can do, and plays. Whatever the rig does ends in an outcome.
Outcome carry_out(const Prepared& prepared, StoreWriter& writer, RunNumber number, ProgressLine& progress,
                  StopSwitch& stop, std::unique_ptr<RunRecorder>& recorder) {
  Outcome outcome;
  try {
    const auto bench = drivers::open_bench(prepared.bench, prepared.request);
    const auto compiled = compile(prepared.scenario, prepared.bench, bench->capabilities(), prepared.known.facts);
    if (!compiled.plan) {
      outcome.reason = "the bench is not what its file says: " + to_text(compiled.complaints.front());
      return outcome;
    }
    recorder = std::make_unique<RunRecorder>(writer, number, bench->capabilities(), progress);
    PosixProgramRunner programs{[&](const ProgramReport& report) { recorder->event("program", to_text(report)); }};
    return run(*compiled.plan, *bench, *recorder, &stop, &programs);
  } catch (const RigFault& fault) {
    outcome.reason = fault.what();
    outcome.end = {EndState::Reason::fault, fault.what(), false, {}};
    return outcome;
  }
}

RunClosed closing(RunNumber number, const Outcome& outcome, Nanoseconds host_duration) {
  RunClosed closed;
  closed.run = number;
  closed.verdict = outcome.verdict;
  closed.reason = outcome.reason;
  closed.end = outcome.reseat                                      ? RunEnd::reseat
               : outcome.end.reason == EndState::Reason::completed ? RunEnd::completed
               : outcome.end.reason == EndState::Reason::stopped   ? RunEnd::stopped
                                                                   : RunEnd::fault;
  closed.end_text = outcome.end.text;
  closed.outputs_safe = outcome.end.outputs_safe;
  closed.supply = outcome.end.supply;
  closed.bench_duration = outcome.bench_duration;
  closed.host_duration = host_duration;
  closed.segments_repeated = static_cast<std::int64_t>(outcome.segments_repeated);
  return closed;
}

void tell_interrupted(StoreWriter& writer) {
  for (const auto& run : writer.close_interrupted())
    std::cerr << describe(run) << " was cut off earlier and is closed as void. Run the unit again.\n";
}

int tell(const RunCommand& asked, RunNumber number, const Outcome& outcome) {
  const StoreReader reader{asked.store};
  const auto stored = reader.load_run(number);
  const auto findings = reader.findings(number);
  const auto events = reader.events(number);
  const bool due = retest_due(reader, asked.serial);
  if (asked.json)
    print(to_json(stored, findings, events, due));
  else
    print_run(stored, findings, events, due, false);
  if (outcome.end.reason == EndState::Reason::stopped && outcome.verdict == Verdict::void_) return kStopped;
  return exit_code_of(outcome.verdict);
}

}  // namespace

int run_command(const RunCommand& asked) {
  for (const auto* reason : {&asked.after_void, &asked.without_shift_start}) {
    if (!*reason || !(*reason)->empty()) continue;
    std::cerr << "a reason is missing: say in a few words why the rule is set aside. It is kept with the run.\n";
    return kBadInput;
  }
  Prepared prepared;
  if (!prepare(asked, prepared)) return kBadInput;

  StopSwitch stop;
  const SignalWatch signals{
      [&](int signal) { stop.stop(signal == SIGINT ? "a person pressed Ctrl-C" : "the program was told to end"); }};
  if (!enough_space(asked.store)) {
    std::cerr << asked.store
              << ": less than 1 GiB is free on this disk. Free some before the next run; nothing was energised.\n";
    return kStoreFailed;
  }
  ProgressLine progress;
  WriterOptions options;
  options.on_commit = [&](const Commit& commit) {
    for (const auto& stored : commit.findings) progress.committed(stored.finding);
  };
  StoreWriter writer{asked.store, options};
  tell_interrupted(writer);
  if (!look_back(asked, prepared)) return kBadInput;
  const auto opened = writer.open_run(opening(asked, prepared));
  keep_overrides(asked, prepared, writer, opened.number);
  keep_stress(asked, prepared, writer, opened.number);

  const auto started = std::chrono::steady_clock::now();
  std::unique_ptr<RunRecorder> recorder;
  const auto outcome = carry_out(prepared, writer, opened.number, progress, stop, recorder);
  if (recorder) recorder->check();
  writer.close_run(closing(opened.number, outcome, std::chrono::steady_clock::now() - started));
  return tell(asked, opened.number, outcome);
}

}  // namespace rig
