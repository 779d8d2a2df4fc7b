#include "drivers/link/crc32c.hpp"

#include <boost/crc.hpp>

namespace drivers::link {

// Boost's object holds its remainder unreflected; going through it keeps this class a plain number to its users.
void Crc32c::take(std::span<const std::uint8_t> bytes) {
  if (bytes.empty()) return;
  boost::crc_optimal<32, 0x1EDC6F41, 0, 0, true, true> crc;
  const auto unreflected = [](std::uint32_t v) {
    std::uint32_t out = 0;
    for (int i = 0; i < 32; ++i, v >>= 1) out = out << 1 | (v & 1);
    return out;
  };
  crc.reset(unreflected(state_));
  crc.process_bytes(bytes.data(), bytes.size());
  state_ = crc.checksum();
}

std::uint32_t crc32c(std::span<const std::uint8_t> bytes) {
  Crc32c crc;
  crc.take(bytes);
  return crc.value();
}

}  // namespace drivers::link
