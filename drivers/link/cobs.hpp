#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <vector>

/// Consistent overhead byte stuffing (Cheshire and Baker, IEEE/ACM Transactions on Networking 7, 1999, 159).
namespace drivers::link {

/// Appends `data` without zeros to `out`; no delimiter. Adds at most one byte per 254, rounded up.
void cobs_encode(std::span<const std::uint8_t> data, std::vector<std::uint8_t>& out);

/// The data that `coded` (without delimiter) stands for, or nothing when it is no such coding. Accepts a final group of
/// 01 after a full one, which some encoders add, and its absence.
std::optional<std::vector<std::uint8_t>> cobs_decode(std::span<const std::uint8_t> coded);

}  // namespace drivers::link
