#include "rig/measure/uncertainty.hpp"

#include <cmath>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

TEST_CASE("a budget combines by the root of the sum of squares, weighted by sensitivity", "[measure][uncertainty]") {
  const std::vector<Contribution> budget{{3, 1}, {0.2, -20}};
  CHECK(combine(budget).standard == Approx(5));
}

TEST_CASE("what is known for sure adds nothing", "[measure][uncertainty]") {
  const std::vector<Contribution> budget{{3, 1, 9}, {0, 1, 1}, {5, 0, 1}};
  CHECK(combine(budget).standard == Approx(3));
  CHECK(combine(budget).degrees == Approx(9));
  CHECK(combine({}).standard == 0);
}

TEST_CASE("a budget of limits alone has infinite degrees of freedom", "[measure][uncertainty]") {
  const std::vector<Contribution> budget{{3}, {4}};
  CHECK(std::isinf(combine(budget).degrees));
  CHECK(coverage_factor(kInfiniteDegrees, 0.9545) == Approx(2).epsilon(1e-4));
}

TEST_CASE("findings carry the uncertainty with k = 2", "[measure][uncertainty]") { CHECK(expanded(0.15) == 0.3); }
