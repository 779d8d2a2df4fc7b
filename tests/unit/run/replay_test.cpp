// Recorded drives as the stimulus: every moment of the outputs against the product.
#include "rig/compile/read_drive.hpp"
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

/// A step of the regression scenario that plays a shipped drive.
ReplaySpec shipped_replay(const std::string& name) {
  const auto scenario = shipped::whole(load_scenario(shipped::path("regression.yaml")));
  for (const auto& step : scenario.steps)
    if (const auto* replay = std::get_if<ReplaySpec>(&step); replay && replay->name == name) return *replay;
  FAIL("no replay '" << name << "' in regression.yaml");
  return {};
}
Scenario playing(const std::string& name) { return fit::only({SelfTestSpec{}, shipped_replay(name)}); }

}  // namespace

TEST_CASE("a good unit follows its tables through a pull, to the limiter and off it", "[run][replay]") {
  const emulated_run::Stand stand{playing("pull")};
  const auto outcome = stand.run({});
  INFO(fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(fit::find(outcome, "pull/manifold_pressure").value < 0.8);
  CHECK(fit::find(outcome, "pull/agreement").value < 0.8);
  CHECK(fit::find(outcome, "pull/longest_outside/charge_pressure").value == 0);
}

TEST_CASE("a good unit follows its tables on a mixed road", "[run][replay]") {
  const emulated_run::Stand stand{playing("mixed_road")};
  const auto outcome = stand.run({});
  INFO(fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::pass);
}

TEST_CASE("a drive is played in segments that each carry all they need", "[run][replay]") {
  const emulated_run::Stand stand{playing("mixed_road")};
  const auto& segments = stand.plan().steps[1]->segments();
  CHECK(segments.size() > 40);
  for (std::size_t i = 3; i < segments.size(); ++i) {
    CHECK(longest(segments[i]) <= 1500ms);
    for (const auto& event : segments[i].events) CHECK(event.at < longest(segments[i]));
  }
}

TEST_CASE("what a drive shows of a bad unit is named with its moment", "[run][replay]") {
  const emulated_run::Stand stand{playing("pull")};
  for (const auto* defect : {"excess_shift=8@manifold_pressure", "slow_settle=0.06@manifold_pressure",
                             "offset=0.06@manifold_pressure", "axis_off_by_one@manifold_pressure"}) {
    const auto outcome = stand.run({"BAD", {defect}, {}, 1});
    const auto& worst = fit::find(outcome, "pull/manifold_pressure");
    CAPTURE(defect, worst.value, worst.reason);
    CHECK(worst.verdict == Verdict::fail);
    CHECK(worst.reason.find(" rpm, ") != std::string::npos);
    CHECK(worst.reason.find("at ") != std::string::npos);
    CHECK(fit::find(outcome, "pull/longest_outside/manifold_pressure").verdict == Verdict::fail);
    CHECK(fit::find(outcome, "pull/charge_pressure").verdict == Verdict::pass);
    CHECK(fit::find(outcome, "pull/agreement").verdict == Verdict::fail);
  }
}

TEST_CASE("a hundred good units on a hundred benches follow their tables", "[run][replay][matrix]") {
  for (const auto* name : {"pull", "mixed_road"}) {
    const emulated_run::Stand stand{playing(name)};
    std::vector<emulated_run::Asked> asked;
    for (int i = 0; i < 100; ++i)
      asked.push_back({"GOOD-" + std::to_string(i), {}, {}, static_cast<std::uint64_t>(i + 1)});
    for (const auto& outcome : stand.run_all(asked)) {
      INFO(fit::not_passed(outcome));
      REQUIRE(outcome.verdict == Verdict::pass);
    }
  }
}
