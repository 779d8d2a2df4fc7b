#include "rig/measure/capability.hpp"

#include "tests/unit/catch.hpp"

using namespace rig;

// NIST/SEMATECH e-Handbook 6.1.6; the intervals by R from the same inputs.
TEST_CASE("capability of the handbook's process", "[reference][capability]") {
  const Sample sample{50, 16, 2};
  const Band band{8, 20};
  CHECK(*spread_index(sample, band) == Approx(1.0).epsilon(1e-14));
  CHECK(centred_index(sample, band) == Approx(2.0 / 3).epsilon(1e-14));
  const auto spread = spread_interval(1.0, 50, 0.95);
  CHECK(spread.low == Approx(0.80248232815).epsilon(1e-9));
  CHECK(spread.high == Approx(1.19712592527).epsilon(1e-9));
  const auto centred = centred_interval(2.0 / 3, 50, 0.95);
  CHECK(centred.low == Approx(0.505551313238).epsilon(1e-9));
  CHECK(centred.high == Approx(0.827782020095).epsilon(1e-9));
}

TEST_CASE("one limit has no spread index", "[capability]") {
  CHECK_FALSE(spread_index({50, 16, 2}, {std::nullopt, 20.0}));
  CHECK(centred_index({50, 16, 2}, {std::nullopt, 20.0}) == Approx(2.0 / 3).epsilon(1e-14));
}

// R (qt with noncentrality, numerical integral) and SciPy, to six decimals; n = 43 and n = 35 as published in the
// NIST e-Handbook 7.2.6.3 and ISO 16269-6, table F.1 (which seems to round upwards).
TEST_CASE("tolerance factors are the exact ones", "[reference][capability]") {
  struct Row {
    double share, confidence;
    std::size_t n;
    double one_sided, two_sided;
  };
  const Row rows[] = {{0.90, 0.95, 5, 3.406633, 4.290604},  {0.90, 0.95, 30, 1.777329, 2.145111},
                      {0.95, 0.95, 3, 7.655900, 9.788752},  {0.95, 0.95, 10, 2.910963, 3.393429},
                      {0.95, 0.95, 50, 2.064993, 2.381560}, {0.99, 0.95, 10, 3.981118, 4.436909},
                      {0.90, 0.99, 43, 1.873954, 2.222825}, {0.99, 0.99, 10, 5.073725, 5.610168}};
  for (const auto& row : rows) {
    CAPTURE(row.share, row.confidence, row.n);
    CHECK(one_sided_tolerance_factor(row.n, row.share, row.confidence) == Approx(row.one_sided).margin(2e-6));
    CHECK(two_sided_tolerance_factor(row.n, row.share, row.confidence) == Approx(row.two_sided).margin(2e-6));
  }
  CHECK(one_sided_tolerance_factor(43, 0.90, 0.99) == Approx(1.8740).margin(1e-4));
  CHECK(one_sided_tolerance_factor(6, 0.90, 0.99) == Approx(4.4111).margin(1e-4));
  CHECK(two_sided_tolerance_factor(35, 0.90, 0.90) == Approx(1.9906).margin(1e-4));
}

// Wilks 1941 (from memory): 93 values are needed for the extremes to hold 95 % with 95 % confidence.
TEST_CASE("extremes of 93 values hold 95 % of all, whatever their distribution", "[reference][capability]") {
  CHECK(ranks_confidence(93, 1, 0.95) >= 0.95);
  CHECK(ranks_confidence(92, 1, 0.95) < 0.95);
}

// Newcombe, Statistics in Medicine 17 (1998) 857, and R's binom.test.
TEST_CASE("intervals of a share are the published ones", "[reference][capability]") {
  struct Row {
    std::size_t x, n;
    double wilson_low, wilson_high, exact_low, exact_high;
  };
  const Row rows[] = {{81, 263, 0.255288519878, 0.366209576983, 0.252736745585, 0.367621922601},
                      {15, 148, 0.062386399531, 0.160487241723, 0.057844010083, 0.161650490349},
                      {0, 20, 0, 0.161125158053, 0, 0.168433470983},
                      {1, 29, 0.006113214293, 0.171755218793, 0.000872646884, 0.177644295489},
                      {100, 100, 0.963006501793, 1, 0.963783307355, 1}};
  for (const auto& row : rows) {
    CAPTURE(row.x, row.n);
    const auto w = wilson(row.x, row.n, 0.95), e = clopper_pearson(row.x, row.n, 0.95);
    CHECK(w.low == Approx(row.wilson_low).margin(1e-11));
    CHECK(w.high == Approx(row.wilson_high).margin(1e-11));
    CHECK(e.low == Approx(row.exact_low).margin(1e-11));
    CHECK(e.high == Approx(row.exact_high).margin(1e-11));
  }
}

TEST_CASE("readings in equal steps are not called normal when they come in two heaps", "[capability]") {
  std::vector<double> heaps, bell;
  for (int i = 0; i < 40; ++i) {
    heaps.push_back((i % 2 == 0 ? -3 : 3) + 0.01 * i);
    const double x = i - 19.5;
    bell.push_back(x * (1 + 0.002 * x * x));  // evenly spread, with longer tails
  }
  CHECK(anderson_darling(heaps).probability < 0.001);
  CHECK(anderson_darling(bell).probability > 0.05);
}
