#include "drivers/board/link_health.hpp"

#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using drivers::board::LinkHealth;

TEST_CASE("three bad frames in ten seconds are borne, a fourth is not", "[board][health]") {
  LinkHealth health;
  CHECK_FALSE(health.bad(3, 0s));
  SECTION("within the ten seconds") { CHECK(health.bad(1, 10s)); }
  SECTION("after them") { CHECK_FALSE(health.bad(1, 10s + 1ns)); }
}

TEST_CASE("the tenth bad frame of a run is one too many however far apart", "[board][health]") {
  LinkHealth health;
  for (int i = 0; i < 9; ++i) CHECK_FALSE(health.bad(1, i * 20s));
  CHECK(health.bad(1, 200s));
  SECTION("and stays so") { CHECK(health.bad(0, 900s)); }
  SECTION("until the next run") {
    health.restart();
    CHECK_FALSE(health.bad(1, 900s));
  }
}
