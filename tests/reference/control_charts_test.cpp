#include "rig/measure/control_charts.hpp"

#include "tests/unit/catch.hpp"

using namespace rig;

// ASTM E2587 and the NIST e-Handbook 6.3.2 print three decimals; these digits by SciPy's integration.
TEST_CASE("chart constants are the customary ones", "[reference][charts]") {
  struct Row {
    std::size_t n;
    double d2, d3, c4, a2, a3, b3, b4, d3_limit, d4_limit, e2;
  };
  const Row rows[] = {
      {2, 1.128379, 0.852502, 0.797885, 1.879971, 2.658681, 0, 3.266532, 0, 3.266532, 2.658681},
      {5, 2.325929, 0.864082, 0.939986, 0.576819, 1.427299, 0, 2.088998, 0, 2.114499, 1.289807},
      {7, 2.704357, 0.833205, 0.959369, 0.419284, 1.181916, 0.117685, 1.882315, 0.075708, 1.924292, 1.109321},
      {10, 3.077505, 0.797051, 0.972659, 0.308264, 0.975350, 0.283706, 1.716294, 0.223023, 1.776977, 0.974815}};
  for (const auto& row : rows) {
    CAPTURE(row.n);
    const auto c = chart_constants(row.n);
    CHECK(c.d2 == Approx(row.d2).margin(1e-6));
    CHECK(c.d3 == Approx(row.d3).margin(1e-5));
    CHECK(c.c4 == Approx(row.c4).margin(1e-6));
    CHECK(c.a2 == Approx(row.a2).margin(1e-6));
    CHECK(c.a3 == Approx(row.a3).margin(2e-6));
    CHECK(c.b3 == Approx(row.b3).margin(2e-6));
    CHECK(c.b4 == Approx(row.b4).margin(2e-6));
    CHECK(c.d3_limit == Approx(row.d3_limit).margin(2e-5));
    CHECK(c.d4_limit == Approx(row.d4_limit).margin(2e-5));
    CHECK(c.e2 == Approx(row.e2).margin(2e-6));
  }
}

// NIST e-Handbook 6.3.2.4: lambda 0.3, start 50, s 2.0539, k 3; no point out.
TEST_CASE("a moving average follows the handbook's", "[reference][charts]") {
  const std::vector<double> y{52.0, 47.0, 53.0, 49.3, 50.1, 47.0, 51.0, 50.1, 51.2, 50.5,
                              49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1};
  const double published[] = {50.60, 49.52, 50.56, 50.18, 50.16, 49.21, 49.75, 49.85, 50.26, 50.33,
                              50.11, 49.36, 49.52, 50.05, 49.38, 49.92, 50.73, 51.23, 51.94, 51.99};
  const auto points = ewma(y, 50, 2.0539, 0.3, 3);
  for (std::size_t i = 0; i < y.size(); ++i) {
    CAPTURE(i);
    CHECK(points[i].value == Approx(published[i]).margin(0.005));
    CHECK_FALSE(points[i].out());
  }
  const std::pair<std::size_t, double> upper[] = {
      {1, 51.848510}, {2, 52.256394}, {3, 52.431406}, {5, 52.551611}, {10, 52.587399}};
  for (const auto& [t, limit] : upper) CHECK(points[t - 1].high == Approx(limit).margin(1e-6));
}

// NIST e-Handbook 6.3.2.3 (data from memory): target 325, slack 0.3175, decision 4.1959; the first call is at group 14.
TEST_CASE("cumulative sums call when the handbook's do", "[reference][charts]") {
  const std::vector<double> x{324.925, 324.675, 324.725, 324.350, 325.350, 325.225, 324.125, 324.525, 325.225, 324.600,
                              324.625, 325.150, 328.325, 327.250, 327.829, 328.500, 326.675, 327.775, 326.875, 328.350};
  const auto points = cusum(x, 325, 0.3175, 4.1959);
  for (std::size_t i = 0; i < 13; ++i) CHECK_FALSE(points[i].out);
  CHECK(points[13].out);
  CHECK(points[12].high == Approx(3.0075).margin(1e-9));
  CHECK(points[13].high == Approx(4.9400).margin(1e-9));
  CHECK(points[19].high == Approx(19.0390).margin(1e-9));
  CHECK(points[7].low == Approx(0.7150).margin(1e-9));
}

namespace {

std::vector<std::size_t> fired(const std::vector<RuleSignal>& signals, int rule) {
  std::vector<std::size_t> at;
  for (const auto& signal : signals)
    if (signal.rule == rule) at.push_back(signal.at + 1);  // counted from 1, as tables of them are
  return at;
}

using At = std::vector<std::size_t>;

}  // namespace

// Rules after Nelson (1984) and the Western Electric handbook (1956); the sequences are made up.
TEST_CASE("run rules fire where their definitions say", "[reference][charts]") {
  const std::vector<double> beyond{0.2, -0.4, 3.1, 0.1, -3.0, 0.5};  // -3.0 is on the line
  CHECK(fired(nelson_signals(beyond), 1) == At{3});
  CHECK(fired(western_signals(beyond), 1) == At{3});
  const std::vector<double> above{0.5, 0.1, 0.3, 0.9, 0.2, 0.7, 0.4, 0.6, 0.8, 0.1, -0.2};
  CHECK(fired(nelson_signals(above), 2) == At{9, 10});
  CHECK(fired(western_signals(above), 4) == At{8, 9, 10});
  const std::vector<double> rising{-0.9, -0.5, -0.1, 0.3, 0.7, 1.1, 1.0};
  CHECK(fired(nelson_signals(rising), 3) == At{6});
  CHECK(western_signals(rising).empty());
  std::vector<double> alternating;
  for (int i = 0; i < 7; ++i) alternating.insert(alternating.end(), {0.5, -0.5});
  CHECK(fired(nelson_signals(alternating), 4) == At{14});
  const std::vector<double> two_of_three{0.1, 2.1, 0.4, 2.3, -2.2, -0.1, -2.5};
  CHECK(fired(nelson_signals(two_of_three), 5) == At{4, 7});
  CHECK(fired(western_signals(two_of_three), 2) == At{4, 7});
  const std::vector<double> four_of_five{1.2, 1.5, -0.3, 1.1, 1.4, 0.2};
  CHECK(fired(nelson_signals(four_of_five), 6) == At{5});
  CHECK(fired(western_signals(four_of_five), 3) == At{5});
  const std::vector<double> quiet{0.1, -0.2, 0.3, 0.2, -0.5, 0.4, 0.6, -0.7, 0.9, 0.0, -0.9, 0.8, 0.3, -0.1, 0.5, 0.2};
  CHECK(fired(nelson_signals(quiet), 7) == At{15, 16});
  const std::vector<double> outside{1.5, -1.2, 1.8, -1.6, -1.1, 1.3, 1.4, -1.9, 0.2};
  CHECK(fired(nelson_signals(outside), 8) == At{8});
}
