#pragma once

#include <bit>
#include <cstddef>
#include <cstdint>
#include <cstring>
#include <span>
#include <string>
#include <type_traits>
#include <vector>

/// Little-endian bytes, out and in. Both ends have the same calls, so that one list of fields serves encoding and
/// decoding and the two cannot drift apart.
namespace drivers::board {

/// Appends fields to bytes.
class FieldWriter {
 public:
  static constexpr bool kReads = false;
  explicit FieldWriter(std::vector<std::uint8_t>& bytes) : bytes_{bytes} {}

  template <class T>
  void number(T value) {
    std::uint64_t bits;
    if constexpr (std::is_same_v<T, double>)
      bits = std::bit_cast<std::uint64_t>(value);
    else if constexpr (std::is_enum_v<T>)
      bits = static_cast<std::uint64_t>(static_cast<std::underlying_type_t<T>>(value));
    else
      bits = static_cast<std::uint64_t>(value);
    for (std::size_t i = 0; i < sizeof(T); ++i) bytes_.push_back(static_cast<std::uint8_t>(bits >> (8 * i)));
  }
  void text(const std::string& value) {
    const std::size_t length = value.size() < 255 ? value.size() : 255;
    number(static_cast<std::uint8_t>(length));
    raw({reinterpret_cast<const std::uint8_t*>(value.data()), length});
  }
  void raw(std::span<const std::uint8_t> bytes) { bytes_.insert(bytes_.end(), bytes.begin(), bytes.end()); }
  bool good() const { return true; }

 private:
  std::vector<std::uint8_t>& bytes_;
};

/// Takes fields from bytes. Never reads past the end: from the first field that is not there on, everything is zero and
/// good() is false.
class FieldReader {
 public:
  static constexpr bool kReads = true;
  explicit FieldReader(std::span<const std::uint8_t> bytes) : bytes_{bytes} {}

  template <class T>
  void number(T& value) {
    const auto field = take(sizeof(T));
    std::uint64_t bits = 0;
    for (std::size_t i = 0; i < field.size(); ++i) bits |= std::uint64_t{field[i]} << (8 * i);
    if constexpr (std::is_same_v<T, double>)
      value = std::bit_cast<double>(bits);
    else if constexpr (std::is_enum_v<T>)
      value = static_cast<T>(static_cast<std::underlying_type_t<T>>(bits));
    else
      value = static_cast<T>(bits);
  }
  void text(std::string& value) {
    std::uint8_t length = 0;
    number(length);
    const auto field = take(length);
    value.assign(reinterpret_cast<const char*>(field.data()), field.size());
  }
  std::span<const std::uint8_t> take(std::size_t count) {
    if (!good_ || bytes_.size() < count) {
      good_ = false;
      return {};
    }
    const auto taken = bytes_.first(count);
    bytes_ = bytes_.subspan(count);
    return taken;
  }
  std::size_t left() const { return bytes_.size(); }
  bool good() const { return good_; }
  void fail() { good_ = false; }

 private:
  std::span<const std::uint8_t> bytes_;
  bool good_ = true;
};

}  // namespace drivers::board
