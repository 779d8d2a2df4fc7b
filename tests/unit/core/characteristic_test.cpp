#include "rig/core/characteristic.hpp"

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

TEST_CASE("a characteristic names the step, the subject and the operating point", "[core][characteristic]") {
  Characteristic c{"sweep", "manifold_pressure", Rpm{3500}, Kilopascals{180}, {}, false};
  CHECK(to_text(c) == "sweep/manifold_pressure@3500rpm,180kPa");
  c.temperature = Celsius{60};
  CHECK(to_text(c) == "sweep/manifold_pressure@3500rpm,180kPa,60degC");
  c.down = true;
  CHECK(to_text(c) == "sweep/manifold_pressure@3500rpm,180kPa,60degC,down");
  CHECK(to_text(Characteristic{"power_up", "boot", {}, {}, {}, false}) == "power_up/boot");
  CHECK(to_text(Characteristic{"sweep", "x", Rpm{1234.5}, {}, Celsius{-20}, false}) == "sweep/x@1234.5rpm,-20degC");
}

TEST_CASE("a characteristic reads back from its text", "[core][characteristic]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int i = 0; i < 500; ++i) {
    Characteristic c{"sweep", pick(random, 0, 1) ? "charge_pressure" : "unpowered/charge_pressure", {}, {}, {}, false};
    if (pick(random, 0, 1)) c.speed = Rpm{pick_real(random, 0, 9000)};
    if (pick(random, 0, 1)) c.pressure = Kilopascals{static_cast<double>(pick(random, 20, 250))};
    if (pick(random, 0, 1)) c.temperature = Celsius{static_cast<double>(pick(random, -40, 130))};
    c.down = pick(random, 0, 1) == 1;
    const std::string text = to_text(c);
    INFO(text);
    REQUIRE(characteristic_from_text(text) == c);
  }
}

TEST_CASE("what is no characteristic is not taken for one", "[core][characteristic]") {
  for (const char* text :
       {"", "sweep", "/x", "sweep/", "sweep/@1rpm", "a@b/c", "sweep/x@", "sweep/x@1rpm,", "sweep/x@1",
        "sweep/x@180kPa,3500rpm", "sweep/x@1rpm,2rpm", "sweep/x@down,1rpm", "sweep/x@nanrpm"}) {
    INFO(text);
    CHECK_FALSE(characteristic_from_text(text));
  }
}
