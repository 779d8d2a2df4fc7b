#include "rig/measure/reaction.hpp"

#include <cmath>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

const std::vector<double> kLow{-0.1}, kHigh{0.1};
const MovingLimits kNearZero{kLow, kHigh};

std::optional<Arrival> arrives(const std::vector<double>& values, double from = 0) {
  return arrival({values, 0.001}, kNearZero, from);
}
double outside(const std::vector<double>& values, double from = 0) {
  return longest_outside({values, 0.001}, kNearZero, from);
}

}  // namespace

TEST_CASE("a signal has arrived when it comes within its limits and stays", "[measure][reaction]") {
  const auto there = arrives({1, 1, 0, 1, 0, 0, 0});  // a visit at 2 ms does not count
  REQUIRE(there);
  CHECK(there->at == Approx(0.0035));
  CHECK(there->half_width == Approx(0.0005));
}

TEST_CASE("one that ends outside never arrives; one that is there all along arrived at once", "[measure][reaction]") {
  CHECK_FALSE(arrives({1, 0, 0, 1}));
  CHECK_FALSE(arrives({}));
  CHECK(arrives({1, 0, 0, 0}, 0.001)->at == Approx(0.001));
  CHECK(arrives({1, 0, 0, 0}, 0.001)->half_width == 0);
}

TEST_CASE("limits may move with the signal", "[measure][reaction]") {
  const std::vector<double> target{0, 1, 2, 3}, signal{0.5, 1.5, 2.05, 2.95};
  std::vector<double> low, high;
  for (const double t : target) low.push_back(t - 0.1), high.push_back(t + 0.1);
  CHECK(arrival({signal, 0.001}, {low, high}, 0)->at == Approx(0.0015));
}

TEST_CASE("a value that is no number is outside", "[measure][reaction]") {
  CHECK_FALSE(arrives({0, 0, std::nan("")}));
  CHECK(outside({0, std::nan(""), 0}) == Approx(0.002));
}

TEST_CASE("a stay outside is reckoned from the last sample inside to the next", "[measure][reaction]") {
  CHECK(outside({0, 0, 0}) == 0);
  CHECK(outside({0, 1, 0, 1, 1, 0}) == Approx(0.003));
  CHECK(outside({0, 0, 1, 1}) == Approx(0.003));
  CHECK(outside({1, 1, 0, 0}, 0.002) == 0);
}
