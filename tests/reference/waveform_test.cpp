#include "rig/measure/waveform.hpp"

#include <cmath>
#include <numbers>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

constexpr double kPeriod = 1e-3;  // of the response's own unit of time
constexpr StateLevels kUnit{0, 1};

/// A response sampled from a little before its step, which is at sample `kBefore`.
constexpr int kBefore = 1000;
template <class F>
std::vector<double> sampled(F response, int count) {
  std::vector<double> values(kBefore, 0.0);
  for (int i = 0; i < count; ++i) values.push_back(response(i * kPeriod));
  return values;
}
double from_step(double t) { return t - kBefore * kPeriod; }

double second_order(double zeta, double t) {
  if (zeta == 1) return 1 - std::exp(-t) * (1 + t);
  if (zeta < 1) {
    const double w = std::sqrt(1 - zeta * zeta);
    return 1 - std::exp(-zeta * t) * (std::cos(w * t) + zeta / w * std::sin(w * t));
  }
  const double w = std::sqrt(zeta * zeta - 1), fast = zeta + w, slow = zeta - w;
  return 1 - (fast * std::exp(-slow * t) - slow * std::exp(-fast * t)) / (2 * w);
}

}  // namespace

// Closed form: t = -ln(1 - x); 10-90 % is ln 9; settling from the 50 % instant is ln 25 for 2 %, ln 50 for 1 %.
TEST_CASE("a first-order response has the transition and settling of the closed form", "[reference][waveform]") {
  const auto values = sampled([](double t) { return 1 - std::exp(-t); }, 20000);
  const Waveform signal{values, kPeriod};
  const auto found = first_transition(signal, kUnit, true);
  REQUIRE(found);
  CHECK(from_step(found->t10) == Approx(0.105360515658).margin(1e-6));
  CHECK(from_step(found->t50) == Approx(0.693147180560).margin(1e-6));
  CHECK(from_step(found->t90) == Approx(2.302585092994).margin(1e-6));
  CHECK(found->duration() == Approx(2.197224577336).margin(1e-6));
  CHECK(found->overshoot == 0);
  const auto settles = [&](double share) { return *settled_at(signal, kUnit, true, share, found->t50); };
  CHECK(from_step(settles(0.1)) == Approx(2.302585092994).margin(1e-6));
  CHECK(from_step(settles(0.05)) == Approx(2.995732273554).margin(1e-6));
  CHECK(from_step(settles(0.001)) == Approx(6.907755278982).margin(1e-6));
  CHECK(settles(0.02) - found->t50 == Approx(3.218875824868).margin(2e-6));
  CHECK(settles(0.01) - found->t50 == Approx(3.912023005428).margin(2e-6));
}

// Second order, unit natural frequency: instants and last entries by root finding in 30 digits (mpmath).
TEST_CASE("second-order responses have the overshoot, transition and settling of the exact solution",
          "[reference][waveform]") {
  struct Row {
    double zeta, overshoot, t10, t50, t90, in5, in2, in1;
  };
  const std::vector<Row> rows{
      {0.1, 0.729247614288, 0.458009025850, 1.088418886944, 1.562208058574, 28.967853936, 38.383280487, 44.805358172},
      {0.2, 0.526620599330, 0.465211920714, 1.133266541014, 1.668641821639, 13.744436418, 19.601903730, 22.933151074},
      {0.3, 0.372326104927, 0.472643873764, 1.182168275598, 1.793983853330, 10.137094743, 11.230081468, 14.324573230},
      {0.5, 0.163033534822, 0.488229295807, 1.294039461548, 2.125802243136, 5.289093220, 8.076348974, 8.780564724},
      {0.6, 0.094780224842, 0.496400249523, 1.358026620874, 2.350450599258, 5.229048441, 5.942987879, 6.258641050},
      {0.7, 0.045987910260, 0.504835145754, 1.428059232236, 2.631037015464, 2.899820526, 5.978792367, 6.574729824},
      {0.8, 0.015164619865, 0.513542835119, 1.504589539527, 2.981035468093, 3.385350391, 3.755841305, 6.353277340},
      {0.9, 0.001523755821, 0.522532105430, 1.587961358452, 3.405487511361, 4.014342470, 4.699596989, 5.127324723},
      {1.0, 0, 0.531811608390, 1.678346990017, 3.889720169867, 4.743864518, 5.833921702, 6.638352068},
      {2.0, 0, 0.642184221618, 2.864902221821, 8.871419404020, 11.458279899, 14.877923465, 17.464783960},
  };
  for (const auto& row : rows) {
    const auto values = sampled([&](double t) { return second_order(row.zeta, t); }, 80000);
    const Waveform signal{values, kPeriod};
    const auto found = first_transition(signal, kUnit, true);
    CAPTURE(row.zeta);
    REQUIRE(found);
    CHECK(found->overshoot == Approx(row.overshoot).margin(1e-6));
    CHECK(from_step(found->t10) == Approx(row.t10).margin(1e-6));
    CHECK(from_step(found->t50) == Approx(row.t50).margin(1e-6));
    CHECK(from_step(found->t90) == Approx(row.t90).margin(1e-6));
    const auto settles = [&](double share) { return from_step(*settled_at(signal, kUnit, true, share, found->t50)); };
    CHECK(settles(0.05) == Approx(row.in5).margin(2e-5));
    CHECK(settles(0.02) == Approx(row.in2).margin(2e-5));
    CHECK(settles(0.01) == Approx(row.in1).margin(2e-5));
  }
}

TEST_CASE("a falling transition is a rising one upside down", "[reference][waveform]") {
  std::vector<double> values(kBefore, 4.0);
  for (int i = 0; i < 20000; ++i) values.push_back(1 + 3 * std::exp(-i * kPeriod));
  const auto found = first_transition({values, kPeriod}, {1, 4}, false);
  REQUIRE(found);
  CHECK_FALSE(found->rising);
  CHECK(from_step(found->t50) == Approx(std::numbers::ln2).margin(1e-6));
  CHECK(found->duration() == Approx(std::log(9.0)).margin(1e-6));
  CHECK_FALSE(first_transition({values, kPeriod}, {1, 4}, true));
}

TEST_CASE("the histogram finds both levels through noise and ringing", "[reference][waveform]") {
  std::vector<double> values;
  unsigned state = 1;
  for (int i = 0; i < 20000; ++i) {
    state = state * 1664525u + 1013904223u;
    const double noise = (state >> 8) / 16777216.0 - 0.5;  // +-0.5
    const double t = (i - 8000) * 0.01;
    values.push_back((t < 0 ? 0.7 : 0.7 + 2.5 * second_order(0.3, t)) + 0.004 * noise);
  }
  const auto levels = state_levels(values);
  REQUIRE(levels);
  CHECK(levels->low == Approx(0.7).margin(0.001));
  CHECK(levels->high == Approx(3.2).margin(0.002));
}

TEST_CASE("what does not move, or is no number, has no levels and no transition", "[reference][waveform]") {
  const std::vector<double> flat(100, 2.0), broken{1, 2, std::nan(""), 4};
  CHECK_FALSE(state_levels(flat));
  CHECK_FALSE(state_levels(broken));
  CHECK_FALSE(state_levels({}));
  CHECK_FALSE(first_transition({flat, kPeriod}, {2, 2}, true));
  CHECK_FALSE(first_transition({flat, kPeriod}, {1, 3}, true));
}

TEST_CASE("a signal that ends outside the band has not settled; one that never leaves it settled at once",
          "[reference][waveform]") {
  const std::vector<double> rising{0, 0.2, 0.4, 0.6, 0.8, 0.9}, there{1, 1, 1};
  CHECK_FALSE(settled_at({rising, 1}, kUnit, true, 0.05, 0));
  CHECK(settled_at({there, 1}, kUnit, true, 0.05, 0.5) == 0.5);
}
