#include <cstdint>
#include <numeric>
#include <string_view>
#include <vector>

#include "drivers/link/crc32c.hpp"
#include "tests/unit/catch.hpp"

namespace {

using Bytes = std::vector<std::uint8_t>;

Bytes of(std::string_view text) { return {text.begin(), text.end()}; }

Bytes counting(int count, int from, int step) {
  Bytes bytes;
  for (int i = 0; i < count; ++i) bytes.push_back(static_cast<std::uint8_t>(from + i * step));
  return bytes;
}

}  // namespace

// RFC 3720 (iSCSI), B.4, printed there as bytes least significant first.
TEST_CASE("CRC-32C gives the values of the iSCSI standard", "[reference][crc]") {
  CHECK(drivers::link::crc32c(Bytes(32, 0x00)) == 0x8A9136AA);
  CHECK(drivers::link::crc32c(Bytes(32, 0xFF)) == 0x62A8AB43);
  CHECK(drivers::link::crc32c(counting(32, 0x00, 1)) == 0x46DD794E);
  CHECK(drivers::link::crc32c(counting(32, 0x1F, -1)) == 0x113FDB5C);
}

// Catalogue check value of CRC-32/ISCSI as carried by python3-crccheck 1.0; the others computed with crccheck and
// crcmod 1.7.
TEST_CASE("CRC-32C gives the catalogue's check value and those of two other implementations", "[reference][crc]") {
  CHECK(drivers::link::crc32c(of("123456789")) == 0xE3069283);
  CHECK(drivers::link::crc32c({}) == 0x00000000);
  CHECK(drivers::link::crc32c(Bytes{0}) == 0x527D5351);
  CHECK(drivers::link::crc32c(Bytes{0, 0}) == 0xF16177D2);
  CHECK(drivers::link::crc32c(Bytes{0xFF, 0xFF}) == 0xFFFF0000);
  CHECK(drivers::link::crc32c(of("A")) == 0xE16DCDEE);
  CHECK(drivers::link::crc32c(of("abc")) == 0x364B3FB7);
  CHECK(drivers::link::crc32c(counting(256, 0, 1)) == 0x9C44184B);
}

// Residue of CRC-32C after its final inversion: python3-crccheck and crcmod, as above.
TEST_CASE("a message followed by its CRC-32C, least significant byte first, leaves the known residue",
          "[reference][crc]") {
  Bytes message = of("123456789");
  const std::uint32_t crc = drivers::link::crc32c(message);
  for (int i = 0; i < 4; ++i) message.push_back(static_cast<std::uint8_t>(crc >> (8 * i)));
  CHECK(drivers::link::crc32c(message) == 0x48674BC7);
}

TEST_CASE("a CRC taken in pieces is that of the whole", "[reference][crc]") {
  const Bytes whole = of("123456789");
  for (std::size_t cut = 0; cut <= whole.size(); ++cut) {
    drivers::link::Crc32c crc;
    crc.take(std::span{whole}.first(cut));
    crc.take(std::span{whole}.subspan(cut));
    CHECK(crc.value() == 0xE3069283);
  }
}
