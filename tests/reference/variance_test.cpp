#include "rig/measure/variance.hpp"

#include <cmath>

#include "tests/unit/catch.hpp"

using namespace rig;

// NIST StRD, SiRstv (as shipped with SciPy, nist_anova/SiRstv.dat).
TEST_CASE("one-way analysis reaches NIST's certified values for SiRstv", "[reference][variance]") {
  const auto result = one_way({{196.3052, 196.1240, 196.1890, 196.2569, 196.3403},
                               {196.3042, 196.3825, 196.1669, 196.3257, 196.0422},
                               {196.1303, 196.2005, 196.2889, 196.0343, 196.1811},
                               {196.2795, 196.1748, 196.1494, 196.1485, 195.9885},
                               {196.2119, 196.1051, 196.1850, 196.0052, 196.2090}});
  CHECK(result.between_degrees == 4);
  CHECK(result.within_degrees == 20);
  CHECK(result.between_squares == Approx(5.11462616e-2).epsilon(1e-9));
  CHECK(result.within_squares == Approx(2.1663656e-1).epsilon(1e-9));
  CHECK(result.f == Approx(1.18046237440255).epsilon(1e-11));
  CHECK(result.within_deviation == Approx(1.04076068334656e-1).epsilon(1e-11));
}

namespace {

/// NIST StRD's SmLs sets: nine groups about leading digits that swallow most of a double. The values of a group are its
/// mean and, in turn, that plus and minus 0.1; group means rise as 0.4, 0.3, 0.2, ... (from the sets' description; the
/// certified sums of squares confirm it).
std::vector<std::vector<double>> small_scatter(double leading, std::size_t each) {
  const double steps[] = {0.4, 0.3, 0.2, 0.5, 0.6, 0.3, 0.4, 0.5, 0.4};
  std::vector<std::vector<double>> groups;
  for (double step : steps) {
    auto& group = groups.emplace_back();
    group.push_back(leading + step);
    for (std::size_t i = 1; i < each; ++i) group.push_back(leading + step + (i % 2 == 1 ? -0.1 : 0.1));
  }
  return groups;
}

}  // namespace

TEST_CASE("scatter in the last digits of large readings is not lost", "[reference][variance]") {
  // Not the certified data, but their kind: the answer must not depend on the leading digits.
  const auto plain = one_way(small_scatter(0, 21));
  const auto million = one_way(small_scatter(1e6, 21));
  const auto trillion = one_way(small_scatter(1e12, 21));
  CHECK(million.f == Approx(plain.f).epsilon(1e-8));
  CHECK(trillion.f == Approx(plain.f).epsilon(2e-3));  // 0.1 itself is only known to 1e-4 there
}

namespace {

/// AIAG, Measurement Systems Analysis, 4th edition: variable gauge example, 10 parts x 3 operators x 3 trials.
CrossedReadings gauge_example() {
  return {10, 3, 3, {0.29,  0.41,  0.64,  0.08,  0.25,  0.07,  0.04,  -0.11, -0.15, -0.56, -0.68, -0.58, -0.47,
                     -1.22, -0.68, -1.38, -1.13, -0.96, 1.34,  1.17,  1.27,  1.19,  0.94,  1.34,  0.88,  1.09,
                     0.67,  0.47,  0.50,  0.64,  0.01,  1.03,  0.20,  0.14,  0.20,  0.11,  -0.80, -0.92, -0.84,
                     -0.56, -1.20, -1.28, -1.46, -1.07, -1.45, 0.02,  -0.11, -0.21, -0.20, 0.22,  0.06,  -0.29,
                     -0.67, -0.49, 0.59,  0.75,  0.66,  0.47,  0.55,  0.83,  0.02,  0.01,  0.21,  -0.31, -0.20,
                     -0.17, -0.63, 0.08,  -0.34, -0.46, -0.56, -0.49, 2.26,  1.99,  2.01,  1.80,  2.12,  2.19,
                     1.77,  1.45,  1.87,  -1.36, -1.25, -1.31, -1.68, -1.62, -1.50, -1.49, -1.77, -2.16}};
}

}  // namespace

// Sums of squares by R's anova(lm()); components as the manual prints them, to its digits.
TEST_CASE("a gauge study comes out as published", "[reference][variance]") {
  const auto study = crossed_study(gauge_example());
  CHECK(study.part.squares == Approx(88.3619344444).epsilon(1e-10));
  CHECK(study.who.squares == Approx(3.16726222222).epsilon(1e-10));
  CHECK(study.interaction.squares == Approx(0.358982222222).epsilon(1e-10));
  CHECK(study.residual.squares == Approx(2.75893333333).epsilon(1e-10));
  CHECK(study.interaction_probability == Approx(0.97411).epsilon(1e-4));
  CHECK(study.pooled);
  CHECK(std::sqrt(study.repeatability) == Approx(0.199933).margin(5e-7));
  CHECK(std::sqrt(study.reproducibility) == Approx(0.226838).margin(5e-7));
  CHECK(std::sqrt(study.of_the_gauge()) == Approx(0.302373).margin(2e-6));  // the manual's own rounding
  CHECK(std::sqrt(study.parts) == Approx(1.042327).margin(5e-7));
  CHECK(study.distinct_categories() == 4);
  CHECK(100 * study.of_the_gauge() / study.total() == Approx(7.76216).epsilon(1e-5));
}

TEST_CASE("the same study keeps its interaction when told to", "[reference][variance]") {
  const auto study = crossed_study(gauge_example(), 1.0);  // nothing is above it
  CHECK_FALSE(study.pooled);
  CHECK(study.interaction_part == 0);  // it came out negative
  CHECK(std::sqrt(study.repeatability) == Approx(0.214434657232).epsilon(1e-10));
  CHECK(std::sqrt(study.reproducibility) == Approx(0.228304449827).epsilon(1e-10));
  CHECK(std::sqrt(study.parts) == Approx(1.043394527450).epsilon(1e-10));
}

TEST_CASE("the gauge's limits hold its estimate and widen with confidence", "[variance]") {
  const auto study = crossed_study(gauge_example());
  const double gauge = std::sqrt(study.of_the_gauge());
  const auto usual = study.gauge_limits(), sure = study.gauge_limits(0.99);
  CHECK(usual.first < gauge);
  CHECK(usual.second > gauge);
  CHECK(sure.first < usual.first);
  CHECK(sure.second > usual.second);
}
