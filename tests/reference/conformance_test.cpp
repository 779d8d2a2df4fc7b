#include "rig/core/finding.hpp"
#include "rig/measure/guard_band.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

// JCGM 106:2012, examples of clause 7: inputs and published values from memory (0.92, 0.99, 0.66), long figures
// computed.
TEST_CASE("conformance probabilities are the published ones", "[reference][conformance]") {
  const double breakdown = conformance_probability(-5.47, 0.05, {std::nullopt, -5.40});
  const double burst = conformance_probability(509.7, 8.6, {490.0, std::nullopt});
  const double viscosity = conformance_probability(13.6, 1.8, {12.5, 16.3});
  CHECK(breakdown == Approx(0.919243340766).epsilon(1e-11));
  CHECK(burst == Approx(0.989009547385).epsilon(1e-11));
  CHECK(viscosity == Approx(0.662629786495).epsilon(1e-11));
  CHECK(breakdown == Approx(0.92).margin(0.005));
  CHECK(burst == Approx(0.99).margin(0.005));
  CHECK(viscosity == Approx(0.66).margin(0.005));
}

// Risk of a reading right on the acceptance limit, U = 2 u: computed with SciPy 1.10.1. 0.5 is shared risk, 0.83 U the
// factor of ISO 14253-1:2017, w = U that of ILAC-G8:09/2019 ("< 2.5 %"), 1.5 U and 3 U its stricter ones (from memory).
TEST_CASE("a guard band leaves the published risk at its limit", "[reference][conformance]") {
  struct Row {
    double guard, risk;
  };
  for (const Row& row : {Row{0, 0.5}, Row{0.25, 0.308537538726}, Row{0.5, 0.158655253931}, Row{0.83, 0.048457266227},
                         Row{1, 0.022750131948}, Row{1.5, 0.001349898032}, Row{3, 9.8659e-10}}) {
    constexpr double kLimit = 10, kUncertainty = 2;  // U, so u = 1
    const auto accepted = acceptance_interval({std::nullopt, kLimit}, row.guard * kUncertainty);
    REQUIRE(accepted);
    INFO("w = " << row.guard << " U");
    CHECK(1 - conformance_probability(*accepted->high, kUncertainty / 2, {std::nullopt, kLimit}) ==
          Approx(row.risk).epsilon(1e-4).margin(1e-12));
  }
}

// ISO 14253-1's three zones with a guard of U at both limits (from memory): proven good, proven bad, neither.
TEST_CASE("a finding falls into the zone that the standard draws", "[reference][conformance]") {
  const auto verdict = [](double value, double uncertainty) {
    Finding finding;
    finding.value = value;
    finding.low = -25;  // mV; U = 5 mV accepts +-20 mV
    finding.high = 25;
    finding.uncertainty = uncertainty;
    decide(finding);
    return finding.verdict;
  };
  CHECK(verdict(20, 5) == Verdict::pass);
  CHECK(verdict(-20, 5) == Verdict::pass);
  CHECK(verdict(20.1, 5) == Verdict::undecided);
  CHECK(verdict(30, 5) == Verdict::undecided);
  CHECK(verdict(30.1, 5) == Verdict::fail);
  CHECK(verdict(-30.1, 5) == Verdict::fail);
  // With the limits less than two guards apart no reading may be accepted.
  for (double value = -60; value <= 60; value += 0.5) CHECK(verdict(value, 26) != Verdict::pass);
}
