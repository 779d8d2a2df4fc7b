// Everything stands still: do the outputs?
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

Scenario holding(Nanoseconds length = 2s) {
  HoldSpec spec;
  spec.length = length;
  return fit::only({SelfTestSpec{}, spec});
}
std::string of(const char* what, const char* channel = "manifold_pressure") {
  return fmt::format("hold/{}/{}@3500rpm,180kPa", what, channel);
}

}  // namespace

TEST_CASE("a good unit stands still", "[run][hold]") {
  const emulated_run::Stand stand{holding()};
  const auto outcome = stand.run({});
  INFO(fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(fit::find(outcome, of("drop_outs")).value == 0);
  CHECK(fit::find(outcome, of("drift")).uncertainty < 0.05);
}

TEST_CASE("a long hold is played in pieces and concluded as one", "[run][hold]") {
  const emulated_run::Stand stand{holding(7s)};
  const auto& segments = stand.plan().steps[1]->segments();
  for (const auto& segment : segments) CHECK(longest(segment) <= 2s);
  const auto outcome = stand.run({});
  INFO(fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(fit::find(outcome, of("drift")).uncertainty < 0.05);
}

TEST_CASE("noise of one channel is that channel's", "[run][hold]") {
  const emulated_run::Stand stand{holding()};
  const auto outcome = stand.run({"BAD", {"noise=0.01@charge_pressure"}, {}, 1});
  CHECK(fit::find(outcome, of("peak_to_peak", "charge_pressure")).verdict == Verdict::fail);
  CHECK(fit::find(outcome, of("rms", "charge_pressure")).verdict == Verdict::fail);
  CHECK(fit::find(outcome, of("peak_to_peak")).verdict == Verdict::pass);
  CHECK(fit::find(outcome, of("limit_cycle")).verdict == Verdict::pass);
}

TEST_CASE("a hundred good units on a hundred benches stand still", "[run][hold][matrix]") {
  const emulated_run::Stand stand{holding()};
  std::vector<emulated_run::Asked> asked;
  for (int i = 0; i < 100; ++i)
    asked.push_back({"GOOD-" + std::to_string(i), {}, {}, static_cast<std::uint64_t>(i + 1)});
  for (const auto& outcome : stand.run_all(asked)) {
    INFO(fit::not_passed(outcome));
    REQUIRE(outcome.verdict == Verdict::pass);
  }
}
