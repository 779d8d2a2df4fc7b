#include "rig/measure/risk.hpp"

#include <cmath>

#include "tests/unit/catch.hpp"

using namespace rig;

// JCGM 106:2012, 9.5.4: resistors of 1500 ohm, process deviation 0.12 ohm, u = 0.04 ohm. The guide prints about 1 % and
// 7 % for the first row; these digits by SciPy (quadrature, and the bivariate normal distribution).
TEST_CASE("global risks of the guide's resistors", "[reference][risk]") {
  struct Row {
    double low, high, accepted, false_accept, false_reject;
  };
  const Row rows[] = {{1499.82, 1500.18, 0.8452710765, 0.0098782915, 0.0690265105},
                      {1499.80, 1500.20, 0.8861537020, 0.0189422067, 0.0372078002},
                      {1499.72, 1500.28, 0.9731433045, 0.0694046100, 0.0006806010},
                      {1499.88, 1500.12, 0.6572182889, 0.0004686336, 0.2476696402}};
  for (const auto& row : rows) {
    CAPTURE(row.low);
    const auto risks = global_risks({1500, 0.12}, 0.04, {1499.80, 1500.20}, {row.low, row.high});
    CHECK(risks.conforming == Approx(0.9044192955).margin(1e-10));
    CHECK(risks.accepted == Approx(row.accepted).margin(1e-10));
    CHECK(risks.false_accept == Approx(row.false_accept).margin(1e-10));
    CHECK(risks.false_reject == Approx(row.false_reject).margin(1e-10));
    CHECK(risks.accepted == Approx(risks.conforming - risks.false_reject + risks.false_accept).margin(1e-12));
  }
  const auto first = global_risks({1500, 0.12}, 0.04, {1499.80, 1500.20}, {1499.82, 1500.18});
  CHECK(first.false_accept_of_accepted() == Approx(0.0116865368).margin(1e-10));
}

TEST_CASE("a single limit has risks of its own", "[reference][risk]") {
  // Nothing but one tail: far from the limit nothing is rejected.
  const auto far = global_risks({0, 1}, 0.1, {std::nullopt, 8.0}, {std::nullopt, 7.8});
  CHECK(far.accepted == Approx(1).margin(1e-12));
  CHECK(far.false_accept < 1e-12);
}

// ILAC-G8:09/2019 4.2.3 prints < 2.5 % for w = U, < 0.16 % for 1.5 U, < 1 ppm for 3 U (from memory).
TEST_CASE("a value right on a guarded limit is wrong as often as the guide says", "[reference][risk]") {
  CHECK(risk_on_the_limit(0) == Approx(0.5));
  CHECK(risk_on_the_limit(2) == Approx(0.022750131948).margin(1e-12));
  CHECK(risk_on_the_limit(3) == Approx(0.001349898032).margin(1e-12));
  CHECK(risk_on_the_limit(6) == Approx(9.8659e-10).epsilon(1e-4));
}

TEST_CASE("many small risks add up, and never beyond one", "[risk]") {
  CHECK(risk_of_any(0.001, 1) == Approx(0.001));
  CHECK(risk_of_any(0.001, 2000) == Approx(1 - std::pow(0.999, 2000)));
  CHECK(risk_of_any(1e-12, 2000) == Approx(2e-9).epsilon(1e-6));  // no digits lost where they are small
}
