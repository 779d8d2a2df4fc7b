#include "drivers/emulated/noise.hpp"

#include <cmath>

namespace drivers::emulated {

Chance::Chance(std::uint64_t seed, std::string_view unit, std::uint64_t channel) {
  std::uint64_t text = 0xcbf29ce484222325u;  // FNV-1a of the serial number
  for (char c : unit) text = (text ^ static_cast<unsigned char>(c)) * 0x100000001b3u;
  key_ = scramble(scramble(scramble(seed + 0x632be59bd9b4e019u) ^ text) + channel * 0xd1342543de82ef95u);
}

// The distribution is summed up from its density by Simpson's rule rather than taken from a rational approximation: no
// constants to mistype, and nothing but exp() and exact arithmetic in it.
Normal::Normal() {
  constexpr double kStep = 1.0 / 2048;
  const double peak = 1 / std::sqrt(2 * 3.14159265358979323846);
  const auto density = [peak](double x) { return peak * std::exp(-x * x / 2); };
  double x = 0, reached = 0.5;
  for (int i = kStrips / 2; i < kStrips; ++i) {
    const double wanted = (i + 0.5) / kStrips;
    for (;;) {
      const double more = kStep / 6 * (density(x) + 4 * density(x + kStep / 2) + density(x + kStep));
      if (reached + more >= wanted) {
        const double value = x + kStep * (wanted - reached) / more;
        quantile_[i] = static_cast<float>(value);
        quantile_[kStrips - 1 - i] = -quantile_[i];
        break;
      }
      reached += more;
      x += kStep;
    }
  }
}

const Normal& normal() {
  static const Normal table;
  return table;
}

}  // namespace drivers::emulated
