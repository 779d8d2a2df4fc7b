#include "rig/store/digest.hpp"

#include <sodium.h>

#include <string_view>

namespace rig {

Digest sha256(std::span<const std::uint8_t> bytes) {
  Digest digest;
  crypto_hash_sha256(digest.data(), bytes.data(), bytes.size());
  return digest;
}

Digest sha256(std::span<const std::uint8_t> first, std::span<const std::uint8_t> second) {
  crypto_hash_sha256_state state;
  crypto_hash_sha256_init(&state);
  crypto_hash_sha256_update(&state, first.data(), first.size());
  crypto_hash_sha256_update(&state, second.data(), second.size());
  Digest digest;
  crypto_hash_sha256_final(&state, digest.data());
  return digest;
}

std::string to_hex(std::span<const std::uint8_t> bytes) {
  constexpr char kDigits[] = "0123456789abcdef";
  std::string text;
  text.reserve(bytes.size() * 2);
  for (const std::uint8_t byte : bytes) text += {kDigits[byte >> 4], kDigits[byte & 15]};
  return text;
}

std::span<const std::uint8_t> as_bytes(std::string_view text) {
  return {reinterpret_cast<const std::uint8_t*>(text.data()), text.size()};
}

std::string new_uuid(std::uint64_t unix_milliseconds) {
  std::array<std::uint8_t, 16> id;
  randombytes_buf(id.data(), id.size());
  for (int i = 0; i < 6; ++i) id[i] = static_cast<std::uint8_t>(unix_milliseconds >> (8 * (5 - i)));
  id[6] = static_cast<std::uint8_t>(0x70 | (id[6] & 0x0f));  // version 7
  id[8] = static_cast<std::uint8_t>(0x80 | (id[8] & 0x3f));  // variant 10
  std::string text = to_hex(id);
  for (const std::size_t at : {8u, 13u, 18u, 23u}) text.insert(at, "-");
  return text;
}

}  // namespace rig
