#include <cstdint>
#include <cstdlib>
#include <span>
#include <vector>

#include "drivers/board/messages.hpp"
#include "drivers/link/frame.hpp"

namespace {

/// What was read can be written, and then reads the same: a decoder that invents or loses a field does not get past.
/// Compared as bytes, since a NaN among the numbers differs from itself.
void check_packet(std::span<const std::uint8_t> body) {
  using namespace drivers::board;
  const auto decoded = decode(body);
  const auto* packet = std::get_if<Packet>(&decoded);
  if (!packet) return;
  const std::vector<std::uint8_t> again = encode(*packet);
  const auto decoded_again = decode(again);
  if (!std::holds_alternative<Packet>(decoded_again)) std::abort();
  if (encode(std::get<Packet>(decoded_again)) != again) std::abort();
}

}  // namespace

/// Any bytes, once as what a port gives and once as the body of a sound frame.
extern "C" int LLVMFuzzerTestOneInput(const std::uint8_t* data, std::size_t size) {
  const std::span<const std::uint8_t> bytes{data, size};
  drivers::link::FrameDecoder decoder;
  decoder.take(bytes.first(size / 2), check_packet);
  decoder.take(bytes.subspan(size / 2), check_packet);
  if (size > drivers::link::kMaxBody) return 0;
  check_packet(bytes);
  int frames = 0;
  if (size < 6) return 0;  // shorter than any body's head
  drivers::link::FrameDecoder sound;
  sound.take(drivers::link::encode_frame(bytes), [&](std::span<const std::uint8_t> body) {
    ++frames;
    if (std::vector<std::uint8_t>(body.begin(), body.end()) != std::vector<std::uint8_t>(data, data + size))
      std::abort();
  });
  if (frames != 1) std::abort();
  return 0;
}
