#include "rig/measure/step_answer.hpp"

#include <cmath>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

constexpr double kPeriod = 1e-4, kAt = 0.02, kLength = 0.2;

/// A first-order answer to a step at kAt, some time later.
std::vector<double> first_order(double tau, double later, double noise = 0) {
  std::vector<double> values;
  unsigned state = 7;
  for (int i = 0; i * kPeriod < kLength; ++i) {
    state = state * 1664525u + 1013904223u;
    const double t = i * kPeriod - kAt - later;
    values.push_back((t < 0 ? 1.0 : 2.0 - std::exp(-t / tau)) + noise * ((state >> 8) / 16777216.0 - 0.5));
  }
  return values;
}

StepAnswer answered(const std::vector<double>& input, const std::vector<double>& output, double later = 0,
                    double apart = 0) {
  const auto answer = answer_of({{input, kPeriod}, {output, kPeriod}, later, apart, true, 0.02});
  REQUIRE(std::holds_alternative<StepAnswer>(answer));
  return std::get<StepAnswer>(answer);
}

}  // namespace

TEST_CASE("delay runs from the input's half to the output's, wherever their samples begin", "[measure][step]") {
  const auto input = first_order(1e-4, 0), output = first_order(5e-3, 0.001);
  const double expected = 0.001 + std::log(2.0) * (5e-3 - 1e-4);
  const auto answer = answered(input, output);
  CHECK(answer.delay == Approx(expected).margin(2e-5));
  CHECK(answer.input_at == Approx(kAt + std::log(2.0) * 1e-4).margin(5e-5));
  CHECK(answered(input, output, 0.003).delay == Approx(expected + 0.003).margin(2e-5));
}

TEST_CASE("duration, settling and overshoot are the output's own, the input's duration is told", "[measure][step]") {
  const auto answer = answered(first_order(1e-3, 0), first_order(5e-3, 0));
  CHECK(answer.amplitude == Approx(1).margin(0.005));
  CHECK(answer.duration == Approx(5e-3 * std::log(9.0)).epsilon(0.01));
  CHECK(answer.input_duration == Approx(1e-3 * std::log(9.0)).epsilon(0.01));
  CHECK(answer.settling == Approx(5e-3 * std::log(25.0)).epsilon(0.02));  // from half: 2 % of it is left
  CHECK(answer.settles);
  CHECK(answer.overshoot == Approx(0).margin(0.005));
}

TEST_CASE("what the clocks may lie apart, and noise, widen the doubts and nothing else", "[measure][step]") {
  const auto input = first_order(1e-4, 0), output = first_order(5e-3, 0), noisy = first_order(5e-3, 0, 0.01);
  const auto calm = answered(input, output), apart = answered(input, output, 0, 1e-3),
             restless = answered(input, noisy);
  CHECK(calm.delay_doubt == Approx(2 * kPeriod / 2 / std::sqrt(3.0) * std::sqrt(2.0)));
  CHECK(apart.delay_doubt == Approx(std::hypot(calm.delay_doubt, 2e-3)));
  CHECK(apart.duration_doubt == calm.duration_doubt);
  CHECK(restless.delay_doubt > calm.delay_doubt);
  CHECK(restless.duration_doubt > 2 * calm.duration_doubt);
  CHECK(std::abs(restless.delay - calm.delay) < restless.delay_doubt);
  CHECK(std::abs(restless.duration - calm.duration) < restless.duration_doubt);
  CHECK(std::abs(restless.settling - calm.settling) < restless.settling_doubt);
}

TEST_CASE("an answer that is still on its way at the end has not settled", "[measure][step]") {
  auto creeping = first_order(5e-3, 0);
  for (std::size_t i = 0; i < creeping.size(); ++i) creeping[i] += i + 100 > creeping.size() ? 0.05 : 0.0;
  const auto answer = answered(first_order(1e-4, 0), creeping);
  CHECK_FALSE(answer.settles);
  CHECK(answer.settling > 0.15);
}

TEST_CASE("a signal that does not step is named", "[measure][step]") {
  const std::vector<double> still(2000, 1.0);
  const auto moving = first_order(1e-3, 0);
  const auto of = [&](const std::vector<double>& in, const std::vector<double>& out, bool rising) {
    return std::get<NoAnswer>(answer_of({{in, kPeriod}, {out, kPeriod}, 0, 0, rising, 0.02}));
  };
  CHECK(of(still, moving, true) == NoAnswer::input_does_not_step);
  CHECK(of(moving, still, true) == NoAnswer::output_does_not_step);
  CHECK(of(moving, moving, false) == NoAnswer::input_does_not_step);
}
