#include "rig/measure/monte_carlo.hpp"

#include <cmath>
#include <numeric>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

double sum(std::span<const double> inputs) { return std::accumulate(inputs.begin(), inputs.end(), 0.0); }

}  // namespace

// JCGM 101:2008, 9.2 (additive model, four inputs of standard uncertainty 1; from memory): normal inputs give +-3.92,
// rectangular ones +-3.88 where the first-order rule still says +-3.92.
TEST_CASE("four inputs add up as the supplement's example does", "[reference][monte_carlo]") {
  const std::vector<Input> normal(4, {Input::Shape::normal, 0, 1});
  const auto bell = propagate(sum, normal, 1'000'000, 0.95, 7);
  CHECK(bell.mean == Approx(0).margin(0.01));
  CHECK(bell.standard == Approx(2.0).margin(0.005));
  CHECK(bell.symmetric.second == Approx(3.92).margin(0.02));
  CHECK(bell.symmetric.first == Approx(-3.92).margin(0.02));
  const std::vector<Input> flat(4, {Input::Shape::rectangular, 0, 1});
  const auto box = propagate(sum, flat, 1'000'000, 0.95, 7);
  CHECK(box.standard == Approx(2.0).margin(0.005));
  CHECK(box.symmetric.second == Approx(3.88).margin(0.02));
}

TEST_CASE("a lopsided value has a shortest interval that is shorter than the symmetric one", "[monte_carlo]") {
  // The square of a normal value is chi squared on one degree: its shortest 95 % interval begins at 0 and ends at 3.84.
  const std::vector<Input> one{{Input::Shape::normal, 0, 1}};
  const auto square = propagate([](std::span<const double> x) { return x[0] * x[0]; }, one, 1'000'000, 0.95, 3);
  CHECK(square.mean == Approx(1).margin(0.01));
  CHECK(square.shortest.first == Approx(0).margin(0.001));
  CHECK(square.shortest.second == Approx(3.8415).margin(0.03));
  CHECK(square.symmetric.second == Approx(5.0239).margin(0.06));
}

TEST_CASE("shapes keep the standard uncertainty they are given", "[monte_carlo]") {
  using Shape = Input::Shape;
  for (const auto shape : {Shape::normal, Shape::rectangular, Shape::triangular, Shape::arcsine}) {
    const std::vector<Input> one{{shape, 5, 0.25}};
    const auto seen = propagate(sum, one, 200'000, 0.95, 11);
    CHECK(seen.mean == Approx(5).margin(0.003));
    CHECK(seen.standard == Approx(0.25).margin(0.002));
  }
}

TEST_CASE("the adaptive run stops once its digits stand still, and the same seed gives the same numbers",
          "[monte_carlo]") {
  const std::vector<Input> inputs(4, {Input::Shape::rectangular, 0, 1});
  const auto once = propagate_until_still(sum, inputs, 0.95, 2, 5'000'000, 5);
  const auto again = propagate_until_still(sum, inputs, 0.95, 2, 5'000'000, 5);
  CHECK(once.trials < 5'000'000);
  CHECK(once.standard == Approx(2.0).margin(0.05));
  CHECK(once.mean == again.mean);
  CHECK(once.symmetric == again.symmetric);
  CHECK(numerical_tolerance(0.35, 2) == Approx(0.005));
  CHECK(numerical_tolerance(35, 1) == Approx(5));
}
