#pragma once

#include <cstddef>
#include <cstdint>
#include <span>
#include <string>
#include <vector>

/// The numbered frames that a recording comes in: PROTOCOL.md section 6.
namespace drivers::board {

constexpr std::uint16_t kNoPort = 0xFFFF;

enum class BlockFormat : std::uint8_t {
  u8 = 1,
  i16 = 2,
  i24 = 3,
  i32 = 4,
  envelope_packed = 5,
  envelope_wide = 6,
  edges = 7
};
/// `values` as in rig::Block: three to a bin, edges as (delta << 1) | level.
struct WireBlock {
  std::uint16_t track = 0, block = 0;
  std::int64_t first = 0;  ///< ticks since start; on the wire as a 32 bit distance from the frame's base
  std::uint16_t count = 0;
  BlockFormat format = BlockFormat::i16;
  std::uint32_t dropped_before = 0;
  std::vector<std::int32_t> values;
  friend bool operator==(const WireBlock&, const WireBlock&) = default;
};
struct Blocks {
  static constexpr std::uint8_t kNumber = 0xC1;
  std::uint32_t epoch = 0, number = 0;
  std::uint64_t base = 0;
  std::vector<WireBlock> blocks;
  friend bool operator==(const Blocks&, const Blocks&) = default;
};
constexpr std::size_t kBlocksHead = 17;         ///< payload bytes of a Blocks before its first block
std::size_t wire_size(const WireBlock& block);  ///< payload bytes of one block
/// The smallest format that holds a block's values. `kind` is a rig::CaptureKind.
BlockFormat smallest_format(std::uint8_t kind, std::span<const std::int32_t> values);

struct Record {
  static constexpr std::uint8_t kNumber = 0xC2;
  std::uint32_t epoch = 0, number = 0, segment = 0;
  std::uint64_t start = 0, end = 0;
  std::uint8_t reason = 0;            ///< rig::SegmentEnd
  std::vector<std::int64_t> settled;  ///< -1: not
  friend bool operator==(const Record&, const Record&) = default;
};
struct Flag {
  static constexpr std::uint8_t kNumber = 0xC3;
  std::uint32_t epoch = 0, number = 0;
  std::uint8_t kind = 0;  ///< rig::RigFlag::Kind
  std::uint64_t at = 0;
  std::uint16_t port = kNoPort;
  std::string text;
  friend bool operator==(const Flag&, const Flag&) = default;
};
struct Gone {
  static constexpr std::uint8_t kNumber = 0xC5;
  std::uint32_t epoch = 0, first = 0;
  std::uint16_t count = 0;
  friend bool operator==(const Gone&, const Gone&) = default;
};

}  // namespace drivers::board
