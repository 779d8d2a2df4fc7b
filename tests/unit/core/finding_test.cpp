#include "rig/core/finding.hpp"

#include <cmath>

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

Finding reading(double value, double expected, double allowed, double uncertainty) {
  Finding finding;
  finding.id = "sweep/manifold_pressure@3500rpm,180kPa";
  finding.in = "kPa";
  finding.value = value;
  finding.expected = expected;
  finding.low = expected - allowed;
  finding.high = expected + allowed;
  finding.uncertainty = uncertainty;
  decide(finding);
  return finding;
}

Finding limited(double value, std::optional<double> low, std::optional<double> high, double uncertainty = 0) {
  Finding finding;
  finding.in = "A";
  finding.value = value;
  finding.low = low;
  finding.high = high;
  finding.uncertainty = uncertainty;
  decide(finding);
  return finding;
}

}  // namespace

TEST_CASE("inside the band by at least the uncertainty passes, outside by more than it fails", "[core][finding]") {
  CHECK(reading(180, 180, 1.5, 0.25).verdict == Verdict::pass);
  CHECK(reading(181.25, 180, 1.5, 0.25).verdict == Verdict::pass);
  CHECK(reading(181.5, 180, 1.5, 0.25).verdict == Verdict::undecided);
  CHECK(reading(181.75, 180, 1.5, 0.25).verdict == Verdict::undecided);
  CHECK(reading(182, 180, 1.5, 0.25).verdict == Verdict::fail);
  CHECK(reading(178, 180, 1.5, 0.25).verdict == Verdict::fail);
}

TEST_CASE("no reading passes that could lie beyond a limit, none fails that could lie within", "[core][finding]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int i = 0; i < 5000; ++i) {
    const double low = pick_real(random, -10, 10), high = low + pick_real(random, 0, 5);
    const double value = pick_real(random, -15, 20), uncertainty = pick_real(random, 0, 3);
    const auto verdict = limited(value, low, high, uncertainty).verdict;
    const bool may_be_outside = value - uncertainty < low || value + uncertainty > high;
    const bool may_be_inside = value + uncertainty >= low && value - uncertainty <= high;
    INFO(value << " in " << low << " to " << high << ", U " << uncertainty);
    if (verdict == Verdict::pass) REQUIRE((value - uncertainty >= low - 1e-12 && value + uncertainty <= high + 1e-12));
    if (verdict == Verdict::fail) REQUIRE_FALSE((value + uncertainty >= low && value - uncertainty <= high));
    if (verdict == Verdict::undecided) REQUIRE((may_be_outside && may_be_inside));
  }
}

TEST_CASE("the margin is the distance to the nearer limit, negative beyond it", "[core][finding]") {
  CHECK(reading(181, 180, 1.5, 0).margin.value() == Approx(0.5));
  CHECK(reading(177, 180, 1.5, 0).margin.value() == Approx(-1.5));
  CHECK(limited(0.15, std::nullopt, 0.2).margin.value() == Approx(0.05));
}

TEST_CASE("a one-sided band has one limit only", "[core][finding]") {
  CHECK(limited(-1e9, std::nullopt, 0.2).verdict == Verdict::pass);
  CHECK(limited(1e9, 0.1, std::nullopt).verdict == Verdict::pass);
  CHECK(limited(0.31, std::nullopt, 0.2).reason == "reads 0.31 A, allowed at most 0.2 A");
  CHECK(limited(0.05, 0.1, std::nullopt).reason == "reads 0.05 A, allowed at least 0.1 A");
}

TEST_CASE("what was not measured is void, never a pass and never a fail", "[core][finding]") {
  for (const double nothing : {std::nan(""), HUGE_VAL, -HUGE_VAL}) {
    const Finding finding = limited(nothing, 0.0, 1.0);
    CHECK(finding.verdict == Verdict::void_);
    CHECK_FALSE(finding.margin);
    CHECK(finding.reason == "was not measured");
  }
  CHECK(limited(0.5, 0.0, 1.0, std::nan("")).verdict == Verdict::void_);
  CHECK(limited(0.5, 0.0, 1.0, -0.1).verdict == Verdict::void_);
  CHECK(limited(0.5, std::nan(""), 1.0).verdict == Verdict::void_);
  CHECK(limited(0.5, 1.0, 0.0).verdict == Verdict::void_);
  CHECK(limited(0.5, std::nullopt, std::nullopt).verdict == Verdict::void_);
}

TEST_CASE("a reason says how far off it reads and what is allowed", "[core][finding]") {
  CHECK(reading(183.1, 180, 1.5, 0.2).reason == "reads 3.1 kPa high, allowed +-1.5 kPa");
  CHECK(reading(175, 180, 1.5, 0.2).reason == "reads 5 kPa low, allowed +-1.5 kPa");
  CHECK(reading(180, 180, 1.5, 0.2).reason.empty());
  CHECK(limited(0.31, 0.0, 0.2).reason == "reads 0.31 A, allowed 0 to 0.2 A");
  SECTION("with digits enough to tell the reading from the limit") {
    CHECK(reading(181.503, 180, 1.5, 0).reason == "reads 1.503 kPa high, allowed +-1.5 kPa");
  }
  SECTION("and, when undecided, why it cannot be told") {
    CHECK(reading(181.4, 180, 1.5, 0.3).reason ==
          "reads 1.4 kPa high, allowed +-1.5 kPa, too near the limit for a measurement sure to +-0.3 kPa");
    CHECK(reading(180, 180, 0.2, 0.3).reason ==
          "reads 0 kPa high, allowed +-0.2 kPa, the measurement is only sure to +-0.3 kPa, too coarse for this band");
  }
  SECTION("unless somebody has said why already") {
    Finding finding;
    finding.value = 3;
    finding.high = 1;
    finding.reason = "it never settled";
    decide(finding);
    CHECK(finding.verdict == Verdict::fail);
    CHECK(finding.reason == "it never settled");
  }
}

TEST_CASE("of an absolute and a relative tolerance the wider one counts", "[core][finding]") {
  CHECK(Band::around(200, {1.5, 0.01}).high.value() == Approx(202));
  CHECK(Band::around(100, {1.5, 0.01}).low.value() == Approx(98.5));
  CHECK(Band::around(-200, {0, 0.01}).low.value() == Approx(-202));
}

TEST_CASE("verdicts have one word each", "[core][finding]") {
  for (const auto verdict : {Verdict::pass, Verdict::undecided, Verdict::fail, Verdict::void_}) {
    CHECK(verdict_from_text(to_text(verdict)) == verdict);
  }
  CHECK(to_text(Verdict::void_) == "void");
  CHECK_FALSE(verdict_from_text("PASS"));
}
