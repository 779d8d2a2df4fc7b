#include <vector>

#include "rig/core/speed_piece.hpp"
#include "rig/core/wheel.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

// Trade arithmetic: a tooth passes in 60 / (positions * rpm) s, m missing teeth in m + 1 times that, a cam turns in
// 120 / rpm s. The table was computed with Python from these formulas.
namespace {

constexpr std::uint32_t kTickRate = 10'000'000;

/// Times of the first `count` edges of one direction at a constant speed, in microseconds.
std::vector<double> edges(const Wheel& wheel, double rpm, bool rising, std::size_t count) {
  PulseGenerator generator{wheel, kTickRate};
  generator.start_piece(0, {static_cast<std::int32_t>(rpm * 1000), 0, std::nullopt});
  std::vector<double> times;
  while (times.size() < count) {
    const auto edge = generator.next_before(~std::uint64_t{0});
    if (edge->rising == rising) times.push_back(static_cast<double>(edge->tick) / 10);
  }
  return times;
}

struct Row {
  double rpm, crank_turn_us, tooth60_us, gap60_us, tooth36_us, gap36_us, lobe_us;
};
const Row kTable[] = {
    {250, 240'000, 4000, 12'000, 6666.7, 13'333.3, 120'000},
    {850, 70'588, 1176.47, 3529.41, 1960.78, 3921.57, 35'294},
    {3000, 20'000, 333.333, 1000, 555.556, 1111.11, 10'000},
    {6500, 9230.77, 153.846, 461.538, 256.410, 512.821, 4615.38},
    {7000, 8571.43, 142.857, 428.571, 238.095, 476.190, 4285.71},
};

}  // namespace

TEST_CASE("teeth, gaps and turns take the reckoned times", "[reference][wheel]") {
  const Wheel sixty = Wheel::missing_tooth(60, 2), thirty_six = Wheel::missing_tooth(36, 1);
  const Wheel four = Wheel::lobes(std::vector<Wheel::Lobe>(4, {CrankDegrees{90}, CrankDegrees{90}}));
  for (const Row& row : kTable) {
    INFO(row.rpm << " rpm");
    // The figures are rounded to five or six digits, and each of two edges to half a tick of 0.1 us.
    const auto about = [](double us) { return Approx(us).epsilon(1e-5).margin(0.11); };
    const auto t60 = edges(sixty, row.rpm, false, 117);
    CHECK(t60[1] - t60[0] == about(row.tooth60_us));
    CHECK(t60[58] - t60[57] == about(row.gap60_us));
    CHECK(t60[58] - t60[0] == about(row.crank_turn_us));
    CHECK(t60[116] - t60[0] == about(2 * row.crank_turn_us));
    const auto t36 = edges(thirty_six, row.rpm, false, 36);
    CHECK(t36[1] - t36[0] == about(row.tooth36_us));
    CHECK(t36[35] - t36[34] == about(row.gap36_us));
    const auto lobes = edges(four, row.rpm, false, 3);
    CHECK(lobes[1] - lobes[0] == about(row.lobe_us));
  }
}

// An invented wheel, reckoned with Python: low 20, high 70, low 50, high 40 degrees of cam, twice a turn. A module on
// the wrong edge reads alternately 0.75 and 1.5 times the true speed.
TEST_CASE("unequal lobes give even falling edges and uneven rising ones", "[reference][wheel]") {
  const Wheel::Lobe first{CrankDegrees{40}, CrankDegrees{140}}, second{CrankDegrees{100}, CrankDegrees{80}};
  const Wheel wheel = Wheel::lobes({first, second, first, second});
  CHECK(wheel.longest_falling_interval() == CrankDegrees{180});
  struct Durations {
    double rpm, low1, high1, low2, high2;  // ms
  };
  for (const Durations& row :
       {Durations{850, 7.843, 27.451, 19.608, 15.686}, Durations{6500, 1.026, 3.590, 2.564, 2.051}}) {
    const auto rising = edges(wheel, row.rpm, true, 4), falling = edges(wheel, row.rpm, false, 4);
    const auto about = [](double ms) { return Approx(ms * 1000).margin(0.6); };
    CHECK(rising[0] == about(row.low1));
    CHECK(falling[0] - rising[0] == about(row.high1));
    CHECK(rising[1] - falling[0] == about(row.low2));
    CHECK(falling[1] - rising[1] == about(row.high2));
    const double fall = falling[1] - falling[0];
    CHECK(falling[2] - falling[1] == Approx(fall).margin(0.11));
    CHECK(fall / (rising[1] - rising[0]) == Approx(0.75).epsilon(1e-4));
    CHECK(fall / (rising[2] - rising[1]) == Approx(1.5).epsilon(1e-4));
  }
}

// 60-2: 58 edges of one direction a turn; 36-1: 35.
TEST_CASE("wheels have the reckoned number of edges", "[reference][wheel]") {
  CHECK(Wheel::missing_tooth(60, 2).falling_edges() == 2 * 58);
  CHECK(Wheel::missing_tooth(36, 1).falling_edges() == 2 * 35);
}
