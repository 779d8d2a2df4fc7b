#include "drivers/link/frame.hpp"

#include <algorithm>
#include <cstdint>
#include <random>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace drivers::link;

namespace {

using Bytes = std::vector<std::uint8_t>;
using Bodies = std::vector<Bytes>;

Bytes body(std::uint8_t fill, std::size_t size = 20) { return Bytes(size, fill); }

/// What a decoder made of some bytes.
struct Decoded {
  Bodies bodies;
  std::size_t bad = 0;
};
Decoded decode(const Bytes& bytes, std::size_t piece = 1000) {
  Decoded out;
  FrameDecoder decoder;
  for (std::size_t at = 0; at < bytes.size(); at += piece)
    out.bad += decoder.take(std::span{bytes}.subspan(at, std::min(piece, bytes.size() - at)),
                            [&](auto found) { out.bodies.emplace_back(found.begin(), found.end()); });
  CHECK(out.bad == decoder.bad_frames());
  return out;
}
Bytes operator+(Bytes a, const Bytes& b) { return a.insert(a.end(), b.begin(), b.end()), a; }

}  // namespace

TEST_CASE("frames come out of the stream as they went in, however it is cut", "[link][frame]") {
  const Bytes stream = encode_frame(body(1)) + encode_frame(body(0, 300)) + encode_frame(body(7, kMaxBody));
  for (const std::size_t piece : {1u, 2u, 3u, 7u, 64u, 5000u}) {
    const Decoded decoded = decode(stream, piece);
    CHECK(decoded.bodies == Bodies{body(1), body(0, 300), body(7, kMaxBody)});
    CHECK(decoded.bad == 0);
  }
}

TEST_CASE("a frame torn off by the next one costs only itself", "[link][frame]") {
  Bytes torn = encode_frame(body(1));
  torn.resize(torn.size() / 2);
  const Decoded decoded = decode(torn + encode_frame(body(2)));
  CHECK(decoded.bodies == Bodies{body(2)});
  CHECK(decoded.bad == 1);
}

TEST_CASE("no single altered, lost or doubled byte gets through as a frame that was not sent", "[link][frame]") {
  const Bytes good = encode_frame(body(0x5A, 60));
  for (std::size_t i = 1; i + 1 < good.size(); ++i) {
    for (const int bit : {0, 3, 7}) {
      Bytes altered = good;
      altered[i] ^= static_cast<std::uint8_t>(1 << bit);
      const Decoded decoded = decode(altered + encode_frame(body(2)));
      CHECK(decoded.bodies == Bodies{body(2)});
      CHECK(decoded.bad >= 1);
    }
    Bytes lost = good;
    lost.erase(lost.begin() + static_cast<std::ptrdiff_t>(i));
    CHECK(decode(lost).bodies.empty());
    Bytes doubled = good;
    doubled.insert(doubled.begin() + static_cast<std::ptrdiff_t>(i), good[i]);
    CHECK(decode(doubled).bodies.empty());
  }
}

TEST_CASE("a stream without delimiters is one bad frame and holds no memory", "[link][frame]") {
  const Decoded decoded = decode(Bytes(100'000, 0x55) + Bytes{0} + encode_frame(body(3)), 333);
  CHECK(decoded.bad == 1);
  CHECK(decoded.bodies == Bodies{body(3)});
}

TEST_CASE("a body that is shorter than its header is bad", "[link][frame]") {
  CHECK(decode(encode_frame(body(1, 5))).bad == 1);
}

TEST_CASE("random bytes never make a frame", "[link][frame]") {
  const auto seed = GENERATE(1u, 2u, 3u);
  std::mt19937 random{seed};
  INFO("seed " << seed);
  Bytes noise(200'000);
  for (auto& byte : noise) byte = static_cast<std::uint8_t>(random() % 40);  // many delimiters
  CHECK(decode(noise).bodies.empty());
}
