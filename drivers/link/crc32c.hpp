#pragma once

#include <cstdint>
#include <span>

namespace drivers::link {

/// CRC-32C (Castagnoli, as in iSCSI): polynomial 0x1EDC6F41, reflected, initial and final value 0xFFFFFFFF.
class Crc32c {
 public:
  void take(std::span<const std::uint8_t> bytes);
  std::uint32_t value() const { return ~state_; }

 private:
  std::uint32_t state_ = 0xFFFFFFFF;
};
std::uint32_t crc32c(std::span<const std::uint8_t> bytes);

}  // namespace drivers::link
