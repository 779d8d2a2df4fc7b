// What keeps an end-of-line run from being begun, and in which words.
#include "rig/cli/run_policy.hpp"

#include "rig/cli/run_facts.hpp"
#include "tests/unit/compile/shipped.hpp"
#include "tests/unit/store/store_fixture.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;
using test::Folder;
using test::some_run;

struct Attempts {
  Folder folder;
  StoreWriter writer{folder.store()};
  RunNumber add(Verdict verdict, RunEnd end = RunEnd::completed, const std::string& bench = "left",
                const std::string& purpose = "end_of_line", bool played = true) {
    auto opened = some_run("T00101");
    opened.bench = bench;
    opened.purpose = purpose;
    const auto run = writer.open_run(opened).number;
    if (verdict == Verdict::pass) writer.add_finding(run, test::some_finding());
    RunClosed closed;
    closed.run = run;
    closed.verdict = verdict;
    closed.reason = "the charge source is slow. Check it; and another thing";
    closed.end = end;
    closed.bench_duration = played ? Nanoseconds{1'000'000} : Nanoseconds{0};
    writer.close_run(closed);
    return run;
  }
  std::string trouble() const { return set_aside_trouble(StoreReader{folder.store()}.attempts_of("T00101")); }
};

}  // namespace

TEST_CASE("a serial number must look as its product says", "[cli][policy]") {
  CHECK(serial_pattern_trouble("", "anything").empty());
  CHECK(serial_pattern_trouble("T#####", "T00101").empty());
  CHECK(serial_pattern_trouble("@@-##", "AZ-09").empty());
  for (const char* wrong : {"T0010", "T001011", "t00101", "T0010A", "S00101", ""})
    CHECK_FALSE(serial_pattern_trouble("T#####", wrong).empty());
  CHECK_FALSE(serial_pattern_trouble("@", "a").empty());
  CHECK(
      serial_pattern_trouble("T#@", "X1A") ==
      "the serial number 'X1A' is not one of this product (T#@: 'T', a digit, a capital letter). Scan the unit's label "
      "again, or name the scenario of the product that is fitted. Nothing was energised");
}

TEST_CASE("two voids in a row set a unit aside, on whatever benches", "[cli][policy]") {
  Attempts attempts;
  CHECK(attempts.trouble().empty());
  const auto first = attempts.add(Verdict::void_, RunEnd::fault);
  CHECK(attempts.trouble().empty());
  const auto second = attempts.add(Verdict::void_, RunEnd::stopped, "right");
  const auto said = attempts.trouble();
  CHECK_THAT(said,
             Catch::StartsWith("unit T00101 is set aside: its last two end-of-line runs (run " + std::to_string(first) +
                               " on bench 'left', run " + std::to_string(second) + " on bench 'right') were void"));
  CHECK_THAT(said, Catch::Contains("because: the charge source is slow. Check it."));
  CHECK_THAT(said, !Catch::Contains("another thing"));
  CHECK_THAT(said, Catch::Contains("--after-void"));
}

TEST_CASE("re-seats are passed over when voids in a row are counted", "[cli][policy]") {
  Attempts attempts;
  attempts.add(Verdict::void_, RunEnd::reseat);
  attempts.add(Verdict::void_, RunEnd::reseat);
  CHECK(attempts.trouble().empty());
  attempts.add(Verdict::void_);
  attempts.add(Verdict::void_, RunEnd::reseat);
  CHECK(attempts.trouble().empty());
  attempts.add(Verdict::void_, RunEnd::interrupted);
  CHECK_FALSE(attempts.trouble().empty());
}

TEST_CASE("a verdict between two voids keeps a unit from being set aside", "[cli][policy]") {
  for (const auto verdict : {Verdict::pass, Verdict::fail, Verdict::undecided}) {
    Attempts attempts;
    attempts.add(Verdict::void_);
    attempts.add(verdict);
    attempts.add(Verdict::void_);
    CHECK(attempts.trouble().empty());
  }
}

TEST_CASE("voids of a trial, and of a bench that could not be opened, set no unit aside", "[cli][policy]") {
  Attempts attempts;
  attempts.add(Verdict::void_);
  attempts.add(Verdict::void_, RunEnd::completed, "left", "trial");
  attempts.add(Verdict::void_, RunEnd::completed, "left", "bench");
  attempts.add(Verdict::void_, RunEnd::fault, "left", "end_of_line", false);
  CHECK(attempts.trouble().empty());
}

TEST_CASE("a unit that was stressed is not for sale until an end-of-line run has passed since", "[cli][policy]") {
  Attempts attempts;
  const auto due = [&] { return retest_due(StoreReader{attempts.folder.store()}, "T00101"); };
  const auto stress = [&](bool played = true) {
    auto opened = some_run("T00101");
    opened.purpose = "regression";
    const auto run = attempts.writer.open_run(opened).number;
    RunEvent event;
    event.run = run;
    event.kind = kStressEvent;
    attempts.writer.add_event(event);
    RunClosed closed;
    closed.run = run;
    closed.reason = "the bench was not there";
    closed.end = RunEnd::fault;
    closed.bench_duration = played ? Nanoseconds{1'000'000} : Nanoseconds{0};
    attempts.writer.close_run(closed);
  };
  attempts.add(Verdict::pass);
  CHECK_FALSE(due());
  stress(false);
  CHECK_FALSE(due());  // it was never touched
  stress();
  CHECK(due());
  attempts.add(Verdict::void_);
  attempts.add(Verdict::fail);
  attempts.add(Verdict::pass, RunEnd::completed, "left", "regression");
  CHECK(due());
  attempts.add(Verdict::pass);
  CHECK_FALSE(due());
}

TEST_CASE("a scenario that stresses a unit is refused in words until that is asked for", "[cli][policy]") {
  Scenario scenario;
  scenario.name = "shorts";
  CHECK(stress_trouble(scenario, "T00101").empty());
  FaultSpec faults;
  faults.cases.emplace_back();
  faults.cases.back().kind = FaultKind::short_to_battery;
  scenario.steps.emplace_back(std::move(faults));
  const auto said = stress_trouble(scenario, "T00101");
  CHECK_THAT(said, Catch::Contains("Unit T00101 would be not for sale until fully retested"));
  CHECK_THAT(said, Catch::Contains("--stress"));
}

TEST_CASE("a bench with a shift-start rule must have passed its scenario within the time", "[cli][policy]") {
  Folder folder;
  StoreWriter writer{folder.store()};
  BenchSetup bench;
  bench.name = "left";
  bench.shift_start_scenario = "scenarios/shift-start.yaml";
  bench.shift_start_every = 12h;
  Scenario shift_start;
  shift_start.name = "shift-start";
  const auto trouble = [&] {
    return shift_start_trouble(StoreReader{folder.store()}, bench, shift_start, wall_time_now());
  };
  const auto add = [&](const char* on, const char* scenario, Verdict verdict, WallTime at) {
    auto opened = some_run("PLUG-1");
    opened.bench = on;
    opened.scenario = scenario;
    opened.purpose = "bench";
    opened.opened_at = at;
    test::write_run(writer, opened, verdict);
  };
  CHECK_THAT(trouble(), Catch::Contains("has not passed its shift-start scenario within 12 h (last passed: never"));
  add("right", "shift-start", Verdict::pass, wall_time_now());
  add("left", "shift-start", Verdict::fail, wall_time_now());
  add("left", "another", Verdict::pass, wall_time_now());
  CHECK_FALSE(trouble().empty());
  add("left", "shift-start", Verdict::pass, wall_time_now() - 13h);
  CHECK_THAT(trouble(), Catch::Contains("13.0 h ago"));
  CHECK_THAT(trouble(), Catch::Contains("--without-shift-start"));
  add("left", "shift-start", Verdict::pass, wall_time_now() - 11h);
  CHECK(trouble().empty());
  writer.wait(writer.add_audit({"A. Keeper", kNewFixture, "left", "pins worn", {}}));
  CHECK_FALSE(trouble().empty());
}
