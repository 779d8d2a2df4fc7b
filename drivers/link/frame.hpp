#pragma once

#include <cstdint>
#include <functional>
#include <span>
#include <vector>

/// Frames as PROTOCOL.md section 1 has them: 00 COBS(length, body, crc) 00.
namespace drivers::link {

constexpr std::size_t kMaxFrame = 512;  ///< decoded, with length and crc
constexpr std::size_t kMaxBody = kMaxFrame - 2 - 4;

/// A body with its length and CRC, coded, between delimiters. REQUIRES: body.size() <= kMaxBody.
std::vector<std::uint8_t> encode_frame(std::span<const std::uint8_t> body);

/// Finds frames in a stream of bytes that may be cut, lost, doubled or altered anywhere. Holds at most one frame.
class FrameDecoder {
 public:
  /// Hands every sound frame's body to `sound`, in order; the span is valid during the call. Returns how many bad
  /// frames it met on the way. Bytes between two delimiters that are no sound frame are one bad frame.
  std::size_t take(std::span<const std::uint8_t> bytes,
                   const std::function<void(std::span<const std::uint8_t>)>& sound);
  std::uint64_t bad_frames() const { return bad_; }

 private:
  bool finish(const std::function<void(std::span<const std::uint8_t>)>& sound);
  std::vector<std::uint8_t> coded_;
  bool too_long_ = false;
  std::uint64_t bad_ = 0;
};

}  // namespace drivers::link
