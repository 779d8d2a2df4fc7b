#pragma once

#include <bit>
#include <cstdint>
#include <span>
#include <stdexcept>
#include <string>

#include "rig/store/digest.hpp"

namespace rig {

/// Thrown by ByteReader when the bytes end early or say something impossible; turned into a StoreError by its callers.
struct BadBytes : std::runtime_error {
  using std::runtime_error::runtime_error;
};

/// Signed numbers near zero become small unsigned ones.
constexpr std::uint32_t zigzag(std::int32_t value) {
  return (static_cast<std::uint32_t>(value) << 1) ^ static_cast<std::uint32_t>(value >> 31);
}
constexpr std::int32_t unzigzag(std::uint32_t value) {
  return static_cast<std::int32_t>((value >> 1) ^ (0u - (value & 1)));
}
constexpr std::uint64_t zigzag(std::int64_t value) {
  return (static_cast<std::uint64_t>(value) << 1) ^ static_cast<std::uint64_t>(value >> 63);
}
constexpr std::int64_t unzigzag(std::uint64_t value) {
  return static_cast<std::int64_t>((value >> 1) ^ (std::uint64_t{0} - (value & 1)));
}

/// Seven bits a byte, the low ones first; the top bit says that more follow.
class ByteWriter {
 public:
  explicit ByteWriter(Blob& out) : out_{out} {}
  void number(std::uint64_t value) {
    for (; value >= 0x80; value >>= 7) out_.push_back(static_cast<std::uint8_t>(value | 0x80));
    out_.push_back(static_cast<std::uint8_t>(value));
  }
  void signed_number(std::int64_t value) { number(zigzag(value)); }
  void real(double value) {
    const auto bits = std::bit_cast<std::uint64_t>(value);
    for (int i = 0; i < 8; ++i) out_.push_back(static_cast<std::uint8_t>(bits >> (8 * i)));
  }
  void text(const std::string& value) {
    number(value.size());
    out_.insert(out_.end(), value.begin(), value.end());
  }

 private:
  Blob& out_;
};

class ByteReader {
 public:
  explicit ByteReader(std::span<const std::uint8_t> bytes) : at_{bytes.data()}, end_{bytes.data() + bytes.size()} {}
  std::uint64_t number() {
    if (at_ != end_ && *at_ < 0x80) return *at_++;
    return long_number();
  }
  std::int64_t signed_number() { return unzigzag(number()); }
  double real() {
    need(8);
    std::uint64_t bits = 0;
    for (int i = 0; i < 8; ++i) bits |= std::uint64_t{*at_++} << (8 * i);
    return std::bit_cast<double>(bits);
  }
  std::string text() {
    const std::uint64_t size = count(number());
    std::string value(reinterpret_cast<const char*>(at_), static_cast<std::size_t>(size));
    at_ += size;
    return value;
  }
  /// A number of things that take a byte or more each: no more than there are bytes left.
  std::uint64_t count(std::uint64_t stated) const {
    if (stated > left()) throw BadBytes{"a count goes beyond the end"};
    return stated;
  }
  template <class T>
  T number_as() {
    const std::uint64_t value = number();
    if (value > std::uint64_t{static_cast<T>(~T{0})}) throw BadBytes{"a number is out of range"};
    return static_cast<T>(value);
  }
  std::size_t left() const { return static_cast<std::size_t>(end_ - at_); }

 private:
  void need(std::size_t bytes) const {
    if (left() < bytes) throw BadBytes{"the bytes end early"};
  }
  std::uint64_t long_number() {
    std::uint64_t value = 0;
    for (int shift = 0; shift < 64; shift += 7) {
      need(1);
      const std::uint8_t byte = *at_++;
      value |= std::uint64_t{byte & 0x7fu} << shift;
      if (byte < 0x80) return value;
    }
    throw BadBytes{"a number is too long"};
  }
  const std::uint8_t* at_;
  const std::uint8_t* end_;
};

}  // namespace rig
