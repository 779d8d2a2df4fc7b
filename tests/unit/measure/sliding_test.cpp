#include "rig/measure/sliding.hpp"

#include <algorithm>

#include "tests/unit/catch.hpp"

using namespace rig;

TEST_CASE("an output that lags by up to two samples may answer to any of the last three inputs", "[measure][sliding]") {
  const std::vector<double> values{1, 5, 2, 0, 3};
  const auto extremes = sliding_extremes(values, 2);
  CHECK(extremes.low == std::vector<double>{1, 1, 1, 0, 0});
  CHECK(extremes.high == std::vector<double>{1, 5, 5, 5, 3});
}

TEST_CASE("one that lags by one sample at least does not answer to the present input", "[measure][sliding]") {
  const std::vector<double> values{1, 5, 2, 0, 3};
  const auto extremes = sliding_extremes(values, 2, 1);
  CHECK(extremes.low == std::vector<double>{1, 1, 1, 2, 0});
  CHECK(extremes.high == std::vector<double>{1, 1, 5, 5, 2});
}

TEST_CASE("sliding extremes are those that looking at every window finds", "[measure][sliding]") {
  unsigned state = 7;
  for (int round = 0; round < 200; ++round) {
    std::vector<double> values(1 + round % 37);
    for (auto& v : values) state = state * 1664525u + 1013904223u, v = static_cast<double>(state >> 24);
    const std::size_t ahead = static_cast<std::size_t>(round % 5), back = ahead + static_cast<std::size_t>(round % 9);
    const auto extremes = sliding_extremes(values, back, ahead);
    for (std::size_t i = 0; i < values.size(); ++i) {
      const auto at = [&](std::size_t lag) { return values[i > lag ? i - lag : 0]; };
      double low = at(ahead), high = at(ahead);
      for (std::size_t lag = ahead; lag <= back; ++lag) low = std::min(low, at(lag)), high = std::max(high, at(lag));
      REQUIRE(extremes.low[i] == low);
      REQUIRE(extremes.high[i] == high);
    }
  }
}
