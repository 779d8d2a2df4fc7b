#include "rig/core/wheel.hpp"

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

double degrees(const WheelEdge& edge) { return static_cast<double>(edge.angle) / static_cast<double>(kFixedDegree); }

}  // namespace

TEST_CASE("a missing-tooth wheel turns twice a cycle and leaves its last teeth out", "[core][wheel]") {
  const Wheel wheel = Wheel::missing_tooth(60, 2);
  CHECK(wheel.edges().size() == 232);
  CHECK(wheel.falling_edges() == 116);
  CHECK(degrees(wheel.edge(0)) == 0);
  CHECK(wheel.edge(0).rising);
  CHECK_FALSE(wheel.level_before_start());
  CHECK(degrees(wheel.edge(2)) == 6);
  CHECK(degrees(wheel.edge(115)) == 57 * 6 + 3);
  CHECK(degrees(wheel.edge(116)) == 360);
  CHECK(wheel.longest_falling_interval() == CrankDegrees{18});
}

TEST_CASE("a pitch that is no whole number of steps does not add up", "[core][wheel]") {
  const Wheel wheel = Wheel::missing_tooth(7, 0);
  CHECK(degrees(wheel.edge(14)) == 360);
  CHECK(degrees(wheel.edge(28 * 100'000)) == 72'000'000);
}

TEST_CASE("a cam wheel of unequal lobes starts low and ends its last lobe at angle 0", "[core][wheel]") {
  const Wheel wheel = Wheel::lobes({{CrankDegrees{40}, CrankDegrees{140}}, {CrankDegrees{100}, CrankDegrees{440}}});
  REQUIRE(wheel.edges().size() == 4);
  CHECK(wheel.edge(0) == WheelEdge{0, false});
  CHECK(wheel.edge(1) == WheelEdge{40 * kFixedDegree, true});
  CHECK(wheel.edge(2) == WheelEdge{180 * kFixedDegree, false});
  CHECK(wheel.edge(3) == WheelEdge{280 * kFixedDegree, true});
  CHECK(wheel.edge(4) == WheelEdge{720 * kFixedDegree, false});
  CHECK(wheel.level_before_start());
  CHECK(wheel.longest_falling_interval() == CrankDegrees{540});
}

TEST_CASE("the first edge at or after an angle is found in any cycle", "[core][wheel]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  const Wheel wheel = Wheel::missing_tooth(36, 1);
  for (int i = 0; i < 2000; ++i) {
    const FixedAngle angle = pick(random, 0, 2'900'000 * kFixedCycle);
    const std::uint64_t k = wheel.first_edge_at_or_after(angle);
    REQUIRE(wheel.edge(k).angle >= angle);
    if (k > 0) REQUIRE(wheel.edge(k - 1).angle < angle);
    REQUIRE(wheel.first_edge_at_or_after(wheel.edge(k).angle) == k);
  }
}

TEST_CASE("edges that make no wheel are refused in words", "[core][wheel]") {
  const auto at = [](int degree, bool rising) { return WheelEdge{degree * kFixedDegree, rising}; };
  const auto wrong = [](const std::vector<WheelEdge>& edges) { return Wheel::problem(edges).value_or("nothing"); };
  CHECK(wrong({at(0, true), at(10, false)}) == "nothing");
  CHECK(wrong({at(0, true)}) == "a wheel needs two edges or more in 720 degrees");
  CHECK(wrong({at(0, true), at(10, false), at(20, true)}) == "a wheel needs as many rising as falling edges");
  CHECK(wrong({at(0, true), at(0, false)}) == "edge 2 does not come after the edge before it");
  CHECK(wrong({at(0, true), at(10, true)}) == "edge 2 goes the same way as the edge before it");
  CHECK(wrong({at(0, true), at(720, false)}) == "edge 2 does not lie in 0 to 720 degrees");
}

TEST_CASE("wheels that cannot be cut are refused in words", "[core][wheel]") {
  CHECK_FALSE(Wheel::missing_tooth_problem(60, 2));
  CHECK(Wheel::missing_tooth_problem(0, 0));
  CHECK(Wheel::missing_tooth_problem(60, 60));
  CHECK(Wheel::missing_tooth_problem(60, -1));
  CHECK(Wheel::missing_tooth_problem(60, 2, 1.0));
  CHECK_FALSE(Wheel::lobes_problem({{CrankDegrees{360}, CrankDegrees{360}}}));
  CHECK(Wheel::lobes_problem({{CrankDegrees{360}, CrankDegrees{350}}}) ==
        "the lobes' lengths add up to 710 deg, not to 720 deg");
  CHECK(Wheel::lobes_problem({{CrankDegrees{0}, CrankDegrees{360}}, {CrankDegrees{180}, CrankDegrees{180}}}));
}
