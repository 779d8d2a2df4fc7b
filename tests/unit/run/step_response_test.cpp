// Steps of one pressure: how fast an output answers, and whether it does.
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

Scenario steps(int repeat = 3) {
  StepResponseSpec spec;
  spec.repeat = repeat;
  return fit::only({SelfTestSpec{}, spec});
}

}  // namespace

TEST_CASE("a good unit answers as its filters say, shifted or not, up and down", "[run][step_response]") {
  const emulated_run::Stand stand{steps()};
  const auto outcome = stand.run({});
  INFO(fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::pass);
  // Input filter 2 ms, output filter 3 ms, sampled every ms: half after some 4.4 ms and up to one sample, 10-90 % in 8.
  for (const auto* channel : {"charge_pressure", "manifold_pressure"})
    for (const auto* way : {"rising", "falling"})
      for (const auto* speed : {"1000", "3500"}) {
        const auto of = [&](const char* what) {
          return fit::find(outcome, fmt::format("step_response/{}/{}/{}@{}rpm", what, channel, way, speed));
        };
        CHECK(of("delay").value == Approx(5.0).margin(1.2));
        CHECK(of("delay").uncertainty < 0.25);
        CHECK(of("duration").value == Approx(8.0).margin(1.5));
        CHECK(of("overshoot").value < 1);
        CHECK(of("settling").value == Approx(11).margin(4));
        CHECK(of("spread").value < 1.2);
      }
  CHECK(fit::find(outcome, "step_response/input_duration/manifold_pressure").value < 0.6);
}

TEST_CASE("an output that stands still does not answer, and that is the unit's fault", "[run][step_response]") {
  const emulated_run::Stand stand{steps(1)};
  const auto outcome = stand.run({"BAD", {"stuck_output@manifold_pressure"}, {}, 1});
  const auto& delay = fit::find(outcome, "step_response/delay/manifold_pressure/rising@3500rpm");
  CHECK(delay.verdict == Verdict::fail);
  CHECK(delay.reason.find("does not answer") != std::string::npos);
  CHECK(fit::find(outcome, "step_response/delay/charge_pressure/rising@3500rpm").verdict == Verdict::pass);
}

TEST_CASE("a slow output is seen by its duration, and a picture of each direction is drawn", "[run][step_response]") {
  const emulated_run::Stand stand{steps(1)};
  const auto outcome = stand.run({"BAD", {"slow_settle=0.02@charge_pressure"}, {}, 1});
  CHECK(fit::find(outcome, "step_response/duration/charge_pressure/falling@1000rpm").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "step_response/settling/charge_pressure/falling@1000rpm").verdict == Verdict::fail);
  CHECK(fit::find(outcome, "step_response/duration/manifold_pressure/falling@1000rpm").verdict == Verdict::pass);
}

TEST_CASE("a hundred good units on a hundred benches answer in time", "[run][step_response][matrix]") {
  const emulated_run::Stand stand{steps()};
  std::vector<emulated_run::Asked> asked;
  for (int i = 0; i < 100; ++i)
    asked.push_back({"GOOD-" + std::to_string(i), {}, {}, static_cast<std::uint64_t>(i + 1)});
  for (const auto& outcome : stand.run_all(asked)) {
    INFO(fit::not_passed(outcome));
    REQUIRE(outcome.verdict == Verdict::pass);
  }
}
