#pragma once

#include <cstdint>
#include <string_view>

/// Chance without state: every draw is a pure function of a key and a counter, so that the same seed gives the same
/// readings on every compiler, in any order of reading, in virtual time or behind a wire.
namespace drivers::emulated {

/// A bijective scrambling of 64 bits in which every input bit reaches every output bit (two rounds of shift, exclusive
/// or and multiply by an odd constant).
constexpr std::uint64_t scramble(std::uint64_t x) {
  x = (x ^ (x >> 30)) * 0xbf58476d1ce4e5b9u;
  x = (x ^ (x >> 27)) * 0x94d049bb133111ebu;
  return x ^ (x >> 31);
}

/// One stream of chance.
class Chance {
 public:
  Chance() = default;
  /// The stream of one channel of one unit on one bench.
  Chance(std::uint64_t seed, std::string_view unit, std::uint64_t channel);
  /// 64 fair bits for a counter.
  std::uint64_t bits(std::uint64_t counter) const { return scramble(key_ + counter * 0x9e3779b97f4a7c15u); }
  /// Uniform in [-1, 1).
  double symmetric(std::uint64_t counter) const {
    return static_cast<double>(static_cast<std::int64_t>(bits(counter)) >> 11) * 0x1p-52;
  }

 private:
  std::uint64_t key_ = 0;
};

/// Standard normal deviates from eleven fair bits each: the mid quantiles of 2048 equally likely strips, so they end at
/// +-3.49 and their standard deviation is 0.999. One 64 bit draw holds five.
class Normal {
 public:
  Normal();
  /// The deviate of the `which`-th (0 to 4) eleven bits of a draw.
  double from(std::uint64_t draw, int which) const { return quantile_[(draw >> (9 + 11 * which)) & (kStrips - 1)]; }

 private:
  static constexpr int kStrips = 2048;
  float quantile_[kStrips];
};

/// The table, made once.
const Normal& normal();

}  // namespace drivers::emulated
