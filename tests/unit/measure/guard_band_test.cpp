#include "rig/measure/guard_band.hpp"

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

TEST_CASE("a guard draws both limits in, and a band too narrow for it accepts nothing", "[measure][guard_band]") {
  const auto accepted = acceptance_interval({-25.0, 25.0}, 5);
  REQUIRE(accepted);
  CHECK(accepted->low == -20);
  CHECK(accepted->high == 20);
  CHECK_FALSE(acceptance_interval({-4.0, 4.0}, 5));
  const auto one_sided = acceptance_interval({std::nullopt, 0.2}, 0.05);
  REQUIRE(one_sided);
  CHECK_FALSE(one_sided->low);
  CHECK(*one_sided->high == Approx(0.15));
}

TEST_CASE("what is decided as a pass lies in the acceptance interval and surely conforms", "[measure][guard_band]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int i = 0; i < 2000; ++i) {
    Finding finding;
    finding.low = -1;
    finding.high = 1;
    finding.value = pick_real(random, -2, 2);
    finding.uncertainty = pick_real(random, 0.01, 1.5);
    decide(finding);
    const double sure = conformance_probability(finding.value, finding.uncertainty / 2, {finding.low, finding.high});
    INFO(finding.value << " +- " << finding.uncertainty);
    if (finding.verdict == Verdict::pass) {
      const auto accepted = acceptance_interval({finding.low, finding.high}, finding.uncertainty);
      REQUIRE(accepted);
      REQUIRE(finding.value >= *accepted->low - 1e-12);
      REQUIRE(finding.value <= *accepted->high + 1e-12);
      REQUIRE(sure > 0.954);  // both limits at once; 0.977 at one
    }
    if (finding.verdict == Verdict::fail) REQUIRE(sure < 0.023);
  }
}
