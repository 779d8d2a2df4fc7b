// The speed line and the module's identity on the emulated bench: good units pass, each fault shows where it must.
#include <algorithm>

#include "tests/unit/run/emulated_run.hpp"

namespace {

using namespace rig;

Scenario asking(std::vector<StepSpec> steps, Scenario of = shipped::end_of_line()) {
  of.purpose = Purpose::trial;
  steps.insert(steps.begin(), SelfTestSpec{});  // which fits the unit when it is done
  of.steps = std::move(steps);
  return of;
}

Scenario speed_line(Scenario of = shipped::end_of_line(), SpeedLineSpec spec = {}) {
  return asking({spec}, std::move(of));
}
Scenario of_one_pressure() { return speed_line(shipped::one_pressure()); }

struct Ran {
  Outcome outcome;
  const Finding& operator[](const std::string& id) const {
    for (const auto& finding : outcome.findings)
      if (finding.id == id) return finding;
    throw std::runtime_error("no finding '" + id + "': " + outcome.reason);
  }
  std::string trouble() const {
    std::string all = outcome.reason + "\n";
    for (const auto& f : outcome.findings)
      if (f.verdict != Verdict::pass) all += f.id + " " + std::string{to_text(f.verdict)} + ": " + f.reason + "\n";
    return all;
  }
};

struct On {
  std::vector<std::string> defects = {}, troubles = {};
  std::uint64_t seed = 1;
  RunFacts facts = {};
};

Ran run_on(const Scenario& scenario, const On& on) {
  auto bench = shipped::emulated_bench();
  bench.seed = on.seed;
  auto facts = on.facts;
  if (facts.serial.empty()) facts.serial = "T00001";
  const auto compiled = compile(scenario, bench, capabilities_of(bench), facts);
  for (const auto& complaint : compiled.complaints) UNSCOPED_INFO(to_text(complaint));
  REQUIRE(compiled.plan);
  drivers::EmulatedUnit unit{facts.serial, {}, false};
  for (const auto& text : on.defects) unit.defects.push_back(std::get<drivers::Defect>(drivers::parse_defect(text)));
  std::vector<drivers::BenchTrouble> troubles;
  for (const auto& text : on.troubles)
    troubles.push_back(std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text)));
  const auto opened = drivers::open_emulated(bench, scenario.product, unit, troubles);
  RunListener nobody;
  return {run(*compiled.plan, *opened, nobody)};
}

Scenario of_plug() {
  auto scenario = speed_line();
  scenario.purpose = Purpose::bench;
  scenario.product = std::make_shared<const Product>(
      shipped::whole(load_product(shipped::path("products/straight-plug-two-pressure.yaml"))));
  return scenario;
}

}  // namespace

TEST_CASE("good units' speed lines pass on benches within their limits of error", "[run][speed_line]") {
  for (const auto& scenario : {speed_line(), of_one_pressure()}) {
    for (std::uint64_t seed = 1; seed <= 5; ++seed) {
      const auto ran = run_on(scenario, {{}, {}, seed, {}});
      CAPTURE(seed, ran.trouble());
      CHECK(ran.outcome.verdict == Verdict::pass);
    }
  }
}

namespace {

/// Each fault of a speed line, and the characteristic that must fail for it.
const std::vector<std::pair<std::string, std::string>> kAbout{
    {"own_pull_up", "speed_line/own_pull_up"},
    {"dragged_speed", "speed_line/high"},
    {"open_through@speed", "speed_line/through"},
    {"worn_contact=30@speed", "speed_line/through"},
    {"wrong_threshold", "speed_line/raised_lows/manifold_pressure"},
    {"wrong_threshold@high", "speed_line/lowered_highs/manifold_pressure"},
    {"wrong_threshold=0.2@hysteresis", "speed_line/slow_noisy_edges/manifold_pressure"},
};

void check_faults(int units) {
  for (const auto& scenario : {speed_line(), of_one_pressure()}) {
    for (const auto& [defect, id] : kAbout) {
      for (int i = 0; i < units; ++i) {
        On on{{defect}, {}, static_cast<std::uint64_t>(1000 + i), {}};
        on.facts.serial = "BAD-" + std::to_string(i);
        const auto ran = run_on(scenario, on);
        CAPTURE(scenario.name, defect, i, ran.trouble());
        CHECK(ran.outcome.verdict == Verdict::fail);
        CHECK(ran[id].verdict == Verdict::fail);
      }
    }
  }
}

}  // namespace

TEST_CASE("each fault of a speed line fails about the right thing", "[run][speed_line]") { check_faults(3); }

TEST_CASE("each fault of a speed line fails about the right thing on thirty units and benches",
          "[run][speed_line][matrix]") {
  check_faults(30);
}

TEST_CASE("fifty good units' speed lines pass on fifty benches", "[run][speed_line][matrix]") {
  for (const auto& scenario : {speed_line(), of_one_pressure()}) {
    for (int i = 0; i < 50; ++i) {
      On on{{}, {}, static_cast<std::uint64_t>(i + 1), {}};
      on.facts.serial = "GOOD-" + std::to_string(i);
      const auto ran = run_on(scenario, on);
      CAPTURE(scenario.name, i, ran.trouble());
      REQUIRE(ran.outcome.verdict == Verdict::pass);
    }
  }
}

TEST_CASE("a straight-through plug is the baseline, against which a small drag shows", "[run][speed_line][baseline]") {
  const auto plug = run_on(of_plug(), {});
  CAPTURE(plug.trouble());
  REQUIRE(plug.outcome.verdict == Verdict::pass);
  RunFacts facts;
  facts.baseline.emplace();
  for (const auto& finding : plug.outcome.findings) facts.baseline->values.emplace_back(finding.id, finding.value);

  for (int seed = 1; seed <= 3; ++seed) {
    On on{{}, {}, 1, facts};
    on.facts.serial = "GOOD-" + std::to_string(seed);
    const auto good = run_on(speed_line(), on);
    CAPTURE(good.trouble());
    CHECK(good.outcome.verdict == Verdict::pass);
    CHECK(good["speed_line/high"].expected == facts.baseline->find("speed_line/high"));
  }
  const On dragged{{"dragged_speed=60000"}, {}, 1, {}};
  auto with_plug = dragged;
  with_plug.facts = facts;
  CHECK(run_on(speed_line(), dragged)["speed_line/high"].verdict == Verdict::pass);
  CHECK(run_on(speed_line(), with_plug)["speed_line/high"].verdict == Verdict::fail);
}

TEST_CASE("a unit says over its service port who it is, and another one is found out", "[run][identify]") {
  IdentifySpec last;
  last.name = "identify_again";
  const auto scenario = asking({IdentifySpec{}, last});
  const auto good = run_on(scenario, {});
  CAPTURE(good.trouble());
  CHECK(good.outcome.verdict == Verdict::pass);
  CHECK(good["identity/firmware"].verdict == Verdict::pass);
  for (const auto& [defect, id] : std::vector<std::pair<std::string, std::string>>{
           {"wrong_firmware", "identify/firmware"}, {"wrong_table", "identify/table"}}) {
    const auto bad = run_on(scenario, {{defect}, {}, 1, {}});
    CAPTURE(defect, bad.trouble());
    CHECK(bad.outcome.verdict == Verdict::fail);
    CHECK(bad[id].verdict == Verdict::fail);
  }
}
