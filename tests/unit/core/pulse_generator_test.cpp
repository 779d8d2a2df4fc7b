#include "rig/core/speed_piece.hpp"
#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

constexpr std::uint32_t kTickRate = 10'000'000;
__extension__ using Wide = __int128;

/// round(angle / speed) in ticks, ties up, by long division: 1 rpm is 6 degrees a second.
std::uint64_t exact_tick(FixedAngle angle, std::int64_t millirpm) {
  const Wide above = Wide{angle} * kTickRate * 1000, below = Wide{6} * millirpm * kFixedDegree;
  return static_cast<std::uint64_t>((2 * above + below) / (2 * below));
}

}  // namespace

TEST_CASE("count and phase are exact over ten million edges", "[core][pulse_generator]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  const auto speed = static_cast<std::int32_t>(pick(random, 50'000, 8'000'000));
  INFO(speed << " mrpm");
  const Wheel wheel = Wheel::missing_tooth(60, 2);
  PulseGenerator generator{wheel, kTickRate};
  generator.start_piece(0, {speed, 0, std::nullopt});
  std::uint64_t before = 0, wrong = 0;
  constexpr std::uint64_t kEdges = 10'000'000;
  for (std::uint64_t k = 1; k <= kEdges; ++k) {  // edge 0 lies at angle 0 and has passed
    const auto edge = generator.next_before(~std::uint64_t{0});
    wrong += !edge || edge->tick <= before || edge->rising != (k % 2 == 0);
    before = edge->tick;
    if (k % 997 == 0 || k == kEdges) wrong += edge->tick != exact_tick(wheel.edge(k).angle, speed);
  }
  CHECK(wrong == 0);
}

TEST_CASE("angle goes on without a step from piece to piece, and no edge is lost or doubled",
          "[core][pulse_generator]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  const Wheel wheel = Wheel::lobes({{CrankDegrees{40}, CrankDegrees{140}},
                                    {CrankDegrees{100}, CrankDegrees{80}},
                                    {CrankDegrees{40}, CrankDegrees{140}},
                                    {CrankDegrees{100}, CrankDegrees{80}}});
  PulseGenerator generator{wheel, kTickRate};
  std::uint64_t now = 0, last = 0, edges = 1;  // one at angle 0
  std::int32_t speed = 0;
  for (int i = 0; i < 3000; ++i) {
    const auto length = static_cast<std::uint64_t>(pick(random, 1, 2'000'000));
    const auto target = static_cast<std::int32_t>(pick(random, 0, 7'000'000));
    const double rate = (target - speed) * (static_cast<double>(kTickRate) / static_cast<double>(length));
    const bool ramp = std::abs(rate) < 1e9;
    const FixedAngle angle = generator.angle_at(now);
    generator.start_piece(now, {ramp ? speed : target, ramp ? static_cast<std::int32_t>(rate) : 0, length});
    REQUIRE(generator.angle_at(now) == angle);
    now += length;
    while (const auto edge = generator.next_before(now)) {
      REQUIRE(edge->tick >= last);
      REQUIRE(edge->tick < now);
      REQUIRE(edge->rising == wheel.edge(edges).rising);
      // At the tick the angle lies within the half tick that rounding may take.
      const double half_tick = std::max(generator.speed_at(edge->tick).value(), 1.0) * 6 / kTickRate + 1e-6;
      REQUIRE(std::abs(static_cast<double>(generator.angle_at(edge->tick) - wheel.edge(edges).angle)) <=
              half_tick * static_cast<double>(kFixedDegree));
      last = edge->tick;
      ++edges;
    }
    speed = static_cast<std::int32_t>(generator.speed_at(now).value() * 1000);
  }
  CHECK(edges > 1000);
  const std::uint64_t passed = wheel.first_edge_at_or_after(generator.angle_at(now));
  CHECK(edges + 1 >= passed);
  CHECK(edges <= passed + 1);
}

TEST_CASE("an edge on the very tick of a new piece belongs to the new piece", "[core][pulse_generator]") {
  const Wheel wheel = Wheel::missing_tooth(60, 2);
  PulseGenerator generator{wheel, kTickRate};
  generator.start_piece(0, {1'000'000, 0, std::nullopt});  // 3 degrees in 5000 ticks
  CHECK_FALSE(generator.next_before(5000));
  generator.start_piece(5000, {0, 0, std::nullopt});
  const auto edge = generator.next_before(10'000);
  REQUIRE(edge);
  CHECK(edge->tick == 5000);
  CHECK_FALSE(generator.next_before(1'000'000'000));
}

TEST_CASE("it starts at a standstill, at the level the wheel has at angle 0", "[core][pulse_generator]") {
  const Wheel wheel = Wheel::missing_tooth(60, 2);
  PulseGenerator generator{wheel, kTickRate};
  CHECK(generator.level());
  CHECK_FALSE(generator.next_before(1'000'000'000));
  CHECK(generator.angle_at(1'000'000'000) == 0);
  CHECK(generator.speed_at(0) == Rpm{0});
}

TEST_CASE("a piece that has run out goes on at the speed it reached", "[core][pulse_generator]") {
  const Wheel wheel = Wheel::missing_tooth(60, 2);
  PulseGenerator generator{wheel, kTickRate};
  generator.start_piece(0, {0, 3'000'000, kTickRate});  // 3000 rpm after a second, 25 turns
  CHECK(generator.angle_at(kTickRate + 200'000) == (9000 + 360) * kFixedDegree);
  CHECK(generator.speed_at(5 * kTickRate) == Rpm{3000});
  std::uint64_t edges = 1;
  while (generator.next_before(2 * std::uint64_t{kTickRate})) ++edges;
  CHECK(edges == (25 + 50) * 116);
  CHECK(generator.angle_at(2 * std::uint64_t{kTickRate}) == 75 * 360 * kFixedDegree);
}
