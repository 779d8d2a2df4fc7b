#include "drivers/link/frame.hpp"

#include <algorithm>
#include <cassert>

#include "drivers/link/cobs.hpp"
#include "drivers/link/crc32c.hpp"

namespace drivers::link {
namespace {

constexpr std::size_t kLeast = 2 + 6 + 4;                           // length, session, sequence, message, flags, crc
constexpr std::size_t kMaxCoded = kMaxFrame + kMaxFrame / 254 + 2;  // one byte a group, and a superfluous final group

std::uint32_t little_endian(std::span<const std::uint8_t> bytes) {
  std::uint32_t value = 0;
  for (std::size_t i = 0; i < bytes.size(); ++i) value |= std::uint32_t{bytes[i]} << (8 * i);
  return value;
}

}  // namespace

std::vector<std::uint8_t> encode_frame(std::span<const std::uint8_t> body) {
  assert(body.size() <= kMaxBody);
  std::vector<std::uint8_t> frame;
  frame.reserve(body.size() + 6);
  const std::size_t length = body.size() + 6;
  frame.push_back(static_cast<std::uint8_t>(length));
  frame.push_back(static_cast<std::uint8_t>(length >> 8));
  frame.insert(frame.end(), body.begin(), body.end());
  const std::uint32_t crc = crc32c(frame);
  for (int i = 0; i < 4; ++i) frame.push_back(static_cast<std::uint8_t>(crc >> (8 * i)));
  std::vector<std::uint8_t> coded{0};
  coded.reserve(frame.size() + 5);
  cobs_encode(frame, coded);
  coded.push_back(0);
  return coded;
}

std::size_t FrameDecoder::take(std::span<const std::uint8_t> bytes,
                               const std::function<void(std::span<const std::uint8_t>)>& sound) {
  const std::uint64_t before = bad_;
  while (!bytes.empty()) {
    const auto delimiter = std::find(bytes.begin(), bytes.end(), 0);
    const auto length = static_cast<std::size_t>(delimiter - bytes.begin());
    if (coded_.size() + length > kMaxCoded)
      too_long_ = true;
    else
      coded_.insert(coded_.end(), bytes.begin(), delimiter);
    if (delimiter == bytes.end()) break;
    if ((too_long_ || !coded_.empty()) && !finish(sound)) ++bad_;
    bytes = bytes.subspan(length + 1);
  }
  return static_cast<std::size_t>(bad_ - before);
}

bool FrameDecoder::finish(const std::function<void(std::span<const std::uint8_t>)>& sound) {
  const auto frame = too_long_ ? std::nullopt : cobs_decode(coded_);
  coded_.clear();  // before anyone else may throw
  too_long_ = false;
  if (!frame || frame->size() < kLeast || frame->size() > kMaxFrame) return false;
  const std::span<const std::uint8_t> bytes{*frame};
  if (little_endian(bytes.first(2)) != bytes.size()) return false;
  if (little_endian(bytes.last(4)) != crc32c(bytes.first(bytes.size() - 4))) return false;
  sound(bytes.subspan(2, bytes.size() - 6));
  return true;
}

}  // namespace drivers::link
