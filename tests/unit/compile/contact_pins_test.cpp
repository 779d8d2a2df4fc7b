// Which pins may touch, by what they carry.
#include "rig/compile/contact_pins.hpp"

#include "tests/unit/compile/shipped.hpp"

using namespace rig;

namespace {
Product with_pins(std::vector<Pin> pins) {
  auto product = *shipped::end_of_line().product;
  product.pins = std::move(pins);
  return product;
}
const std::vector<std::string> kOrder{"charge_pressure", "manifold_pressure", "rail_5v", "ground"};
const std::vector<std::string> kLines{"charge_pressure", "manifold_pressure"};
}  // namespace

TEST_CASE("every pair of pins side by side is named once, with all places where they lie", "[compile][contacts]") {
  const auto side = ConnectorSide::sensor;
  const auto product = with_pins({{"S1", side, "charge_pressure", {"S2"}},
                                  {"S2", side, "manifold_pressure", {"S1", "S3"}},
                                  {"S3", side, "charge_pressure", {"S2", "S4"}},
                                  {"S4", side, "service", {"S3", "S5"}},
                                  {"S5", side, "ground", {"S4", "S6"}},
                                  {"S6", side, "rail_5v", {"S5"}}});
  const auto pairs = neighbours(product, kOrder, kLines);
  REQUIRE(pairs.size() == 2);
  CHECK(pairs[0].a == "charge_pressure");
  CHECK(pairs[0].b == "manifold_pressure");
  CHECK(pairs[0].pins == "S1 and S2, S3 and S2");
  CHECK(pairs[1].a == "rail_5v");
  CHECK(pairs[1].b == "ground");
  CHECK(pins_in_words(product, "charge_pressure") == "pin S1 or S3");
}

TEST_CASE("where no pins are known every pair of lines may touch", "[compile][contacts]") {
  const auto pairs = neighbours(with_pins({}), kOrder, kLines);
  REQUIRE(pairs.size() == 1);
  CHECK(pairs[0].pins.empty());
}
