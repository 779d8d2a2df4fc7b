#include "drivers/board/block_values.hpp"

#include <algorithm>
#include <cassert>

#include "rig/core/capabilities.hpp"

namespace drivers::board {
namespace {

std::size_t values_per_count(BlockFormat format) {
  return format == BlockFormat::envelope_packed || format == BlockFormat::envelope_wide ? 3 : 1;
}

/// Bytes of one count; nothing for edges, which vary.
std::size_t fixed_size(BlockFormat format) {
  switch (format) {
    case BlockFormat::u8:
      return 1;
    case BlockFormat::i16:
      return 2;
    case BlockFormat::i24:
      return 3;
    case BlockFormat::i32:
      return 4;
    case BlockFormat::envelope_packed:
      return 7;
    case BlockFormat::envelope_wide:
      return 12;
    case BlockFormat::edges:
      break;
  }
  return 0;
}

constexpr bool fits(std::int32_t value, int bits) { return value >= -(1 << (bits - 1)) && value < (1 << (bits - 1)); }

std::size_t varint_size(std::uint32_t value) {
  std::size_t size = 1;
  while (value >>= 7) ++size;
  return size;
}

void write_i24(FieldWriter& writer, std::int32_t value) {
  const auto bits = static_cast<std::uint32_t>(value);
  writer.number(static_cast<std::uint16_t>(bits));
  writer.number(static_cast<std::uint8_t>(bits >> 16));
}

std::int32_t read_i24(FieldReader& reader) {
  std::uint16_t low = 0;
  std::uint8_t high = 0;
  reader.number(low);
  reader.number(high);
  const std::uint32_t bits = low | std::uint32_t{high} << 16;
  return static_cast<std::int32_t>(bits << 8) >> 8;
}

template <class T>
std::int32_t read_as(FieldReader& reader) {
  T value{};
  reader.number(value);
  return static_cast<std::int32_t>(value);
}

std::int32_t read_varint(FieldReader& reader) {
  std::uint64_t bits = 0;
  for (int shift = 0; shift < 35; shift += 7) {
    std::uint8_t byte = 0;
    reader.number(byte);
    bits |= std::uint64_t{byte & 0x7Fu} << shift;
    if (!(byte & 0x80)) {
      if (bits > 0x7FFFFFFF) reader.fail();
      return static_cast<std::int32_t>(bits & 0x7FFFFFFF);
    }
  }
  reader.fail();
  return 0;
}

}  // namespace

BlockFormat smallest_format(std::uint8_t kind, std::span<const std::int32_t> values) {
  switch (static_cast<rig::CaptureKind>(kind)) {
    case rig::CaptureKind::bytes:
      return BlockFormat::u8;
    case rig::CaptureKind::edges:
      return BlockFormat::edges;
    case rig::CaptureKind::envelope:
      for (std::size_t i = 0; i < values.size(); ++i)
        if (!fits(values[i], i % 3 == 2 ? 24 : 16)) return BlockFormat::envelope_wide;
      return BlockFormat::envelope_packed;
    case rig::CaptureKind::samples:
    case rig::CaptureKind::triggered:
      break;
  }
  const auto all_fit = [&](int bits) {
    return std::all_of(values.begin(), values.end(), [bits](auto v) { return fits(v, bits); });
  };
  return all_fit(16) ? BlockFormat::i16 : all_fit(24) ? BlockFormat::i24 : BlockFormat::i32;
}

std::size_t wire_size(const WireBlock& block) {
  std::size_t size = 12 + (block.dropped_before ? 4 : 0);
  if (block.format != BlockFormat::edges) return size + block.count * fixed_size(block.format);
  for (const std::int32_t value : block.values) size += varint_size(static_cast<std::uint32_t>(value));
  return size;
}

void write_values(FieldWriter& writer, const WireBlock& block) {
  assert(block.values.size() == block.count * values_per_count(block.format));
  std::size_t i = 0;
  for (const std::int32_t value : block.values) {
    switch (block.format) {
      case BlockFormat::u8:
        writer.number(static_cast<std::uint8_t>(value));
        break;
      case BlockFormat::i16:
        writer.number(static_cast<std::int16_t>(value));
        break;
      case BlockFormat::i24:
        write_i24(writer, value);
        break;
      case BlockFormat::i32:
      case BlockFormat::envelope_wide:
        writer.number(value);
        break;
      case BlockFormat::envelope_packed:
        if (i++ % 3 == 2)
          write_i24(writer, value);
        else
          writer.number(static_cast<std::int16_t>(value));
        break;
      case BlockFormat::edges: {
        auto bits = static_cast<std::uint32_t>(value);
        for (; bits >= 0x80; bits >>= 7) writer.number(static_cast<std::uint8_t>(bits | 0x80));
        writer.number(static_cast<std::uint8_t>(bits));
      }
    }
  }
}

void read_values(FieldReader& reader, WireBlock& block) {
  // What is promised must be there before room is made for it: a hostile count allocates nothing.
  const std::size_t least = block.format == BlockFormat::edges ? 1 : fixed_size(block.format);
  if (least == 0 || reader.left() < block.count * least) return reader.fail();
  const std::size_t total = block.count * values_per_count(block.format);
  block.values.resize(total);
  for (std::size_t i = 0; i < total; ++i) {
    std::int32_t& value = block.values[i];
    switch (block.format) {
      case BlockFormat::u8:
        value = read_as<std::uint8_t>(reader);
        break;
      case BlockFormat::i16:
        value = read_as<std::int16_t>(reader);
        break;
      case BlockFormat::i24:
        value = read_i24(reader);
        break;
      case BlockFormat::i32:
      case BlockFormat::envelope_wide:
        value = read_as<std::int32_t>(reader);
        break;
      case BlockFormat::envelope_packed:
        value = i % 3 == 2 ? read_i24(reader) : read_as<std::int16_t>(reader);
        break;
      case BlockFormat::edges:
        value = read_varint(reader);
        break;
    }
  }
}

}  // namespace drivers::board
