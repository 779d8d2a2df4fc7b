#include "rig/measure/straight_fit.hpp"

#include <cmath>
#include <random>
#include <vector>

#include "rig/measure/least_squares.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;

// By hand: t = 0 1 2 3 4, y = 1 3 2 5 4; slope 0.8, level 3, residual sum of squares 3.6.
TEST_CASE("a line through five readings is that of the formulas", "[measure][fit]") {
  FitSums sums;
  const double y[]{1, 3, 2, 5, 4};
  for (int t = 0; t < 5; ++t) sums.take(t, y[t]);
  const auto fit = fit_of(sums);
  CHECK(fit.slope == Approx(0.8));
  CHECK(fit.level == Approx(3));
  CHECK(fit.at(4) == Approx(4.6));
  CHECK(fit.scatter == Approx(std::sqrt(3.6 / 3)));
  CHECK(fit.slope_doubt == Approx(2 * std::sqrt(3.6 / 3 / 10)));
}

TEST_CASE("pieces joined make the fit of the whole", "[measure][fit]") {
  FitSums whole, joined;
  for (int piece = 0; piece < 3; ++piece) {
    FitSums part;
    for (int i = 0; i < 20; ++i) {
      const double y = std::sin(0.3 * (piece * 20 + i));
      whole.take(piece * 20 + i, y), part.take(i, y);
    }
    joined.join(part, piece * 20);
  }
  const auto a = fit_of(whole), b = fit_of(joined);
  CHECK(a.slope == Approx(b.slope));
  CHECK(a.level == Approx(b.level));
  CHECK(a.scatter == Approx(b.scatter));
  CHECK(a.slope_doubt == Approx(b.slope_doubt));
}

TEST_CASE("the true slope lies within the doubt nineteen times in twenty", "[measure][fit]") {
  std::mt19937 random{3};
  std::normal_distribution<double> normal{0, 0.5};
  int inside = 0;
  for (int run = 0; run < 400; ++run) {
    FitSums sums;
    for (int i = 0; i < 200; ++i) sums.take(0.01 * i, 2 + 0.7 * 0.01 * i + normal(random));
    const auto fit = fit_of(sums);
    inside += std::abs(fit.slope - 0.7) <= fit.slope_doubt ? 1 : 0;
  }
  CHECK(inside > 365);
  CHECK(inside < 395);
}

TEST_CASE("the sums give the line that the orthogonal decomposition gives", "[measure][fit]") {
  std::mt19937 random{11};
  std::normal_distribution<double> normal{0, 0.3};
  FitSums sums;
  std::vector<Observation> observations;
  for (int i = 0; i < 50; ++i) {
    const double t = 0.1 * i + 0.01 * normal(random), y = 4 - 0.2 * t + normal(random);
    sums.take(t, y), observations.push_back({powers(t, 1), y});
  }
  const auto line = fit_of(sums);
  const auto fit = least_squares(observations, Scatter::from_residuals);
  CHECK(line.slope == Approx(fit.coefficients[1]));
  CHECK(line.at(2.5) == Approx(fit.at(powers(2.5, 1))));
  CHECK(line.scatter == Approx(fit.residual_deviation));
  CHECK(line.slope_doubt == Approx(2 * fit.standard_of(1)));
}
