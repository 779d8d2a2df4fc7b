#include "reports/figures.hpp"

#include <limits>

#include "tests/unit/catch.hpp"

TEST_CASE("figures have a fixed number of places and a true minus sign", "[reports][figures]") {
  CHECK(rig::figure(12.5, 2) == "12.50");
  CHECK(rig::figure(-0.071, 2) == "\u22120.07");
  CHECK(rig::figure(3500, 0) == "3500");
}

TEST_CASE("a negative number that rounds to nothing has no sign", "[reports][figures]") {
  CHECK(rig::figure(-0.001, 2) == "0.00");
}

TEST_CASE("what is no number is said to be none", "[reports][figures]") {
  CHECK(rig::figure(std::numeric_limits<double>::quiet_NaN(), 2) == "no value");
  CHECK(rig::with_unit(std::numeric_limits<double>::infinity(), "kPa") == "no value");
}

TEST_CASE("what a band allows is said for every kind of band", "[reports][figures]") {
  rig::Finding finding;
  finding.in = "kPa";
  CHECK(rig::allowed(finding) == "not limited");
  finding.high = 155.5;
  CHECK(rig::allowed(finding) == "at most 155.50");
  finding.low = 152.5;
  CHECK(rig::allowed(finding) == "152.50 to 155.50");
  finding.high.reset();
  CHECK(rig::allowed(finding) == "at least 152.50");
}

TEST_CASE("the share of the margin is 1 in the middle, 0 at a limit, negative beyond", "[reports][figures]") {
  rig::Finding finding;
  finding.low = 10, finding.high = 20;
  finding.margin = 5;
  CHECK(rig::margin_share(finding).value() == Approx(1));
  finding.margin = 0;
  CHECK(rig::margin_share(finding).value() == Approx(0));
  finding.margin = -5;
  CHECK(rig::margin_share(finding).value() == Approx(-1));
  finding.low.reset();
  CHECK_FALSE(rig::margin_share(finding));
}
