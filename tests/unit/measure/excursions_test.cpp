#include "rig/measure/excursions.hpp"

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {
SignalBin at(double volts) { return {volts - 0.001, volts + 0.001, volts}; }
}  // namespace

TEST_CASE("a stretch of bins beyond the limit is one excursion, with its worst", "[measure][excursions]") {
  std::vector<SignalBin> bins(20, at(2));
  bins[5] = at(1.9), bins[6] = at(0.5), bins[7] = at(1.9);
  bins[12] = at(2.2);
  const auto found = excursions(bins, 2, 0.03);
  REQUIRE(found.size() == 2);
  CHECK(found[0].first == 5);
  CHECK(found[0].bins == 3);
  CHECK(found[0].worst == Approx(-1.501));
  CHECK(found[1].bins == 1);  // one bin, but the whole of it
}

TEST_CASE("a spike within one bin is noise; over a bin's edge it may have lasted longer", "[measure][excursions]") {
  std::vector<SignalBin> bins(20, at(2));
  bins[5] = {1.9, 2.001, 1.998};
  CHECK(excursions(bins, 2, 0.03).empty());
  bins[6] = {1.9, 2.001, 1.998};
  CHECK(excursions(bins, 2, 0.03).size() == 1);
}

TEST_CASE("an excursion that reaches the end is counted, and none is where nothing leaves", "[measure][excursions]") {
  std::vector<SignalBin> bins(20, at(2));
  CHECK(excursions(bins, 2, 0.03).empty());
  bins[18] = bins[19] = at(3);
  REQUIRE(excursions(bins, 2, 0.03).size() == 1);
  CHECK(excursions(bins, 2, 0.03)[0].bins == 2);
}
