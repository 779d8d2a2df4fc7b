#include "drivers/board/clock_map.hpp"

#include "tests/unit/catch.hpp"

using drivers::board::ClockMap;

namespace {

// Eight exchanges in microseconds, made for this test: board = host + 5,000,000 + 50 ppm, plus path asymmetry. The fits
// were computed with NumPy.
const ClockMap::Exchange exchanges[] = {
    {0, 5000180, 5000200, 420},
    {1000000, 6000215, 6000235, 1000400},
    {2000000, 7000780, 7000800, 2001500},
    {3000000, 8000305, 8000325, 3000350},
    {4000000, 9000360, 9000380, 4000360},
    {5000000, 10000650, 10000670, 5000900},
    {6000000, 11000450, 11000470, 6000340},
    {7000000, 12000520, 12000540, 7000380},
};

ClockMap all_eight() {
  ClockMap map;
  for (const auto& exchange : exchanges) map.add(exchange);
  return map;
}

}  // namespace

// RFC 5905, section 8: offset and delay of one exchange.
TEST_CASE("one exchange gives offset and delay by the on-wire protocol's formulas", "[board][clock]") {
  const ClockMap::Exchange exchange{1000000, 1005120, 1005123, 1000043};
  CHECK(exchange.offset() == Approx(5100).epsilon(1e-12));
  CHECK(exchange.delay() == Approx(40).epsilon(1e-12));
}

TEST_CASE("the exchange of least delay bounds the offset", "[board][clock]") {
  const ClockMap map = all_eight();
  CHECK(map.best()->offset() == 5000290);
  CHECK(map.bound() == 160);
}

TEST_CASE("drift is fitted to the exchanges of small delay only", "[board][clock]") {
  const auto line = all_eight().line();
  CHECK(line.used == 6);
  CHECK(line.offset_at_zero == Approx(4999979.056251).epsilon(1e-12));
  CHECK(line.skew * 1e6 == Approx(51.933527026).epsilon(1e-9));
  CHECK(line.residual == Approx(4.491127314).epsilon(1e-8));
}

TEST_CASE("times go from one clock to the other and back", "[board][clock]") {
  const ClockMap map = all_eight();
  CHECK(map.board_at(4500000) == Approx(9500212.757123).epsilon(1e-13));
  CHECK(map.host_at(9500000) == Approx(4499787.253926).epsilon(1e-13));
}

TEST_CASE("stamps far from zero keep their digits", "[board][clock]") {
  ClockMap map;
  const std::int64_t host = 4'000'000'000'000'000, board = 9'000'000'000;  // nanoseconds: months of uptime
  for (std::int64_t i = 0; i < 8; ++i) {
    const std::int64_t t = i * 1'000'000'000, on_board = t + t / 20'000;  // 50 ppm fast
    map.add({host + t, board + on_board + 100'000, board + on_board + 101'000, host + t + 201'000});
  }
  CHECK(map.line().skew * 1e6 == Approx(50).margin(0.01));
  CHECK(map.line().skew_bound * 1e6 == Approx(200'000 / 7e9 * 1e6).epsilon(0.01));
  CHECK(map.board_at(static_cast<double>(host) + 7e9) ==
        Approx(static_cast<double>(board) + 7e9 + 350'000).margin(1'000));
}

TEST_CASE("a single exchange gives its offset and claims no drift", "[board][clock]") {
  ClockMap map;
  map.add(exchanges[0]);
  CHECK(map.line().skew == 0);
  CHECK(map.board_at(210) == 4999980 + 210);
}

TEST_CASE("an exchange that ends before it begins is left out", "[board][clock]") {
  ClockMap map;
  map.add({1000, 5000, 5001, 900});
  map.add({1000, 5000, 4999, 1100});
  map.add({1000, 5000, 5500, 1100});
  CHECK(map.empty());
}
