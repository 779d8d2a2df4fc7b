#pragma once

#include <array>
#include <cstdint>
#include <span>
#include <string>
#include <string_view>
#include <vector>

namespace rig {

using Blob = std::vector<std::uint8_t>;
using Digest = std::array<std::uint8_t, 32>;

/// SHA-256 (FIPS 180-4).
Digest sha256(std::span<const std::uint8_t> bytes);
/// SHA-256 of one stretch of bytes after the other.
Digest sha256(std::span<const std::uint8_t> first, std::span<const std::uint8_t> second);

std::string to_hex(std::span<const std::uint8_t> bytes);  ///< lower case
std::span<const std::uint8_t> as_bytes(std::string_view text);

/// A new identifier that sorts by time and needs no central counter (UUID version 7, RFC 9562, 5.7).
std::string new_uuid(std::uint64_t unix_milliseconds);

}  // namespace rig
