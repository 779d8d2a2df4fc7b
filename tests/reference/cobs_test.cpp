#include <cstdint>
#include <vector>

#include "drivers/link/cobs.hpp"
#include "tests/unit/catch.hpp"

namespace {

using Bytes = std::vector<std::uint8_t>;

Bytes run(int from, int to) {
  Bytes bytes;
  for (int v = from; v <= to; ++v) bytes.push_back(static_cast<std::uint8_t>(v));
  return bytes;
}
Bytes operator+(Bytes a, const Bytes& b) { return a.insert(a.end(), b.begin(), b.end()), a; }

struct Pair {
  Bytes plain, coded;
};

// The first from figure 3 of Cheshire and Baker, IEEE/ACM Transactions on Networking 7 (1999) 159; the others worked
// out from the definition given there.
const std::vector<Pair> pairs{
    {{0x45, 0, 0, 0x2C, 0x4C, 0x79, 0, 0, 0x40, 6, 0x4F, 0x37},
     {2, 0x45, 1, 4, 0x2C, 0x4C, 0x79, 1, 5, 0x40, 6, 0x4F, 0x37}},
    {{}, {1}},
    {{0}, {1, 1}},
    {{0, 0}, {1, 1, 1}},
    {{0x11, 0x22, 0, 0x33}, {3, 0x11, 0x22, 2, 0x33}},
    {{0x11, 0x22, 0x33, 0x44}, {5, 0x11, 0x22, 0x33, 0x44}},
    {{0x11, 0, 0, 0}, {2, 0x11, 1, 1, 1}},
    {run(1, 254), Bytes{0xFF} + run(1, 254)},
    {Bytes{0} + run(1, 254), Bytes{1, 0xFF} + run(1, 254)},
    {run(1, 255), Bytes{0xFF} + run(1, 254) + Bytes{2, 0xFF}},
    {run(2, 255) + Bytes{0}, Bytes{0xFF} + run(2, 255) + Bytes{1, 1}},
    {run(3, 255) + Bytes{0, 1}, Bytes{0xFE} + run(3, 255) + Bytes{2, 1}},
    {Bytes(255, 0), Bytes(256, 1)},
};

}  // namespace

TEST_CASE("byte stuffing gives the published codings and takes them back", "[reference][cobs]") {
  for (const Pair& pair : pairs) {
    Bytes coded;
    drivers::link::cobs_encode(pair.plain, coded);
    CHECK(coded == pair.coded);
    const auto plain = drivers::link::cobs_decode(pair.coded);
    REQUIRE(plain);
    CHECK(*plain == pair.plain);
  }
}

TEST_CASE("a superfluous last group after a full one is accepted", "[reference][cobs]") {
  const auto plain = drivers::link::cobs_decode(Bytes{0xFF} + run(1, 254) + Bytes{1});
  REQUIRE(plain);
  CHECK(*plain == run(1, 254));
}

TEST_CASE("what is no coding is refused", "[reference][cobs]") {
  CHECK_FALSE(drivers::link::cobs_decode({}));
  CHECK_FALSE(drivers::link::cobs_decode(Bytes{0}));
  CHECK_FALSE(drivers::link::cobs_decode(Bytes{3, 1}));
  CHECK_FALSE(drivers::link::cobs_decode(Bytes{2, 0}));
}
