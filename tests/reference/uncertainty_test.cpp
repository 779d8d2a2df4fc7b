#include "rig/measure/uncertainty.hpp"

#include <cmath>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

// JCGM 100:2008 (GUM) 4.3.7, 4.3.9, F.2.2.1: closed form.
TEST_CASE("limits turn into standard uncertainties by the guide's divisors", "[reference][uncertainty]") {
  CHECK(standard_of_rectangular(1) == Approx(0.577350269190).epsilon(1e-11));
  CHECK(standard_of_triangular(1) == Approx(0.408248290464).epsilon(1e-11));
  CHECK(standard_of_arcsine(1) == Approx(0.707106781187).epsilon(1e-11));
  CHECK(standard_of_step(1) == Approx(0.288675134595).epsilon(1e-11));
  CHECK(standard_of_two_steps(1) == Approx(0.408248290464).epsilon(1e-11));
  CHECK(standard_of_step(5.0 / 4096) == Approx(352.386638910e-6).epsilon(1e-11));
  CHECK(standard_of_step(10.0 / 65536) == Approx(44.0483298636e-6).epsilon(1e-11));
  CHECK(standard_of_step(10e-6) == Approx(2.88675134595e-6).epsilon(1e-11));
}

// GUM 4.3.7 and 5.1.5 (a digital voltmeter), from memory; the arithmetic reproduces it.
TEST_CASE("the guide's voltmeter comes out at 15 microvolts", "[reference][uncertainty]") {
  const double limit = 14e-6 * 0.928571 + 2e-6 * 1;
  CHECK(limit == Approx(15e-6).epsilon(1e-5));
  const std::vector<Contribution> budget{{12e-6}, {standard_of_rectangular(limit)}};
  CHECK(budget[1].standard == Approx(8.66025e-6).epsilon(1e-5));
  CHECK(combine(budget).standard == Approx(14.7986e-6).epsilon(1e-5));
}

// GUM G.4.1: product of three inputs, relative uncertainties 0.25, 0.57 and 0.82 %, degrees 9, 4 and 14. The guide
// prints 1.03 %, 19.0 degrees and rounds to 19; we truncate, which is the safer side.
TEST_CASE("effective degrees of freedom follow the guide's example G.4.1", "[reference][uncertainty]") {
  const std::vector<Contribution> budget{{0.25, 1, 9}, {0.57, 1, 4}, {0.82, 1, 14}};
  const Combined combined = combine(budget);
  CHECK(combined.standard == Approx(1.02946588093).epsilon(1e-10));
  CHECK(combined.degrees == Approx(18.9987423143).epsilon(1e-10));
  CHECK(coverage_factor(combined.degrees, 0.95) == Approx(2.10092204024).epsilon(1e-9));
  CHECK(coverage_factor(19, 0.95) == Approx(2.09302405441).epsilon(1e-9));
}

// GUM annex H.1 (end gauge): inputs from the R package metRology 0.9-29-2, data set GUM.H.1; results as published.
TEST_CASE("the guide's end gauge comes out at 32 nm, 16 degrees and 93 nm", "[reference][uncertainty]") {
  const double length_nm = 50.000623e6;
  const std::vector<Contribution> budget{{25, 1, 18},
                                         {5.8, 1, 24},
                                         {3.9, 1, 5},
                                         {6.7, 1, 8},
                                         {0.58e-6, -length_nm * -0.1, 50},
                                         {0.029, -length_nm * 11.5e-6, 2}};
  const Combined combined = combine(budget);
  CHECK(combined.standard == Approx(31.7051).epsilon(1e-5));
  CHECK(std::round(combined.standard) == 32);
  CHECK(combined.degrees ==
        Approx(16.64).margin(0.06));  // 16.7 is printed; 16.6446 with the three d terms as one of 9.7
  CHECK(coverage_factor(combined.degrees, 0.99) == Approx(2.92078162235).epsilon(1e-10));
  CHECK(expanded(combined, 0.99) == Approx(92.6).margin(0.05));
}

// Student's t: SciPy 1.10.1.
TEST_CASE("t factors are those of a reference library", "[reference][uncertainty]") {
  struct Row {
    double degrees, at_95, at_9545, at_99;
  };
  for (const Row& row :
       {Row{1, 12.7062, 13.9678, 63.6567}, Row{2, 4.3027, 4.5266, 9.9248}, Row{3, 3.1824, 3.3068, 5.8409},
        Row{4, 2.7764, 2.8693, 4.6041}, Row{5, 2.5706, 2.6487, 4.0321}, Row{8, 2.3060, 2.3664, 3.3554},
        Row{10, 2.2281, 2.2837, 3.1693}, Row{16, 2.1199, 2.1689, 2.9208}, Row{20, 2.0860, 2.1330, 2.8453},
        Row{50, 2.0086, 2.0513, 2.6778}, Row{100, 1.9840, 2.0253, 2.6259}}) {
    INFO(row.degrees << " degrees");
    CHECK(coverage_factor(row.degrees, 0.95) == Approx(row.at_95).margin(5.1e-5));
    CHECK(coverage_factor(row.degrees, 0.9545) == Approx(row.at_9545).margin(5.1e-5));
    CHECK(coverage_factor(row.degrees, 0.99) == Approx(row.at_99).margin(5.1e-5));
    CHECK(coverage_factor(row.degrees + 0.9, 0.95) == coverage_factor(row.degrees, 0.95));
  }
}
