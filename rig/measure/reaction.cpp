#include "rig/measure/reaction.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

bool inside(const Waveform& signal, const MovingLimits& limits, std::size_t i) {
  const auto of = [i](std::span<const double> limit) { return limit.size() == 1 ? limit.front() : limit[i]; };
  return signal.values[i] >= of(limits.low) && signal.values[i] <= of(limits.high);  // a NaN is neither
}

/// The first sample at or after an instant.
std::size_t first_sample(const Waveform& signal, double from) {
  const double index = std::ceil(from / signal.period - 1e-9);
  return index <= 0 ? 0 : std::min(static_cast<std::size_t>(index), signal.values.size());
}

}  // namespace

std::optional<Arrival> arrival(const Waveform& signal, const MovingLimits& limits, double from) {
  const std::size_t begin = first_sample(signal, from);
  std::size_t i = signal.values.size();
  while (i > begin && inside(signal, limits, i - 1)) --i;
  if (i == signal.values.size()) return std::nullopt;
  if (i == begin) return Arrival{from, 0};
  const double last_outside = static_cast<double>(i - 1) * signal.period;
  return Arrival{last_outside + signal.period / 2, signal.period / 2};
}

double longest_outside(const Waveform& signal, const MovingLimits& limits, double from) {
  const double length = static_cast<double>(signal.values.size()) * signal.period;
  double longest = 0, last_inside = from;
  bool out = false;
  for (std::size_t i = first_sample(signal, from); i < signal.values.size(); ++i) {
    const double at = static_cast<double>(i) * signal.period;
    if (!inside(signal, limits, i)) {
      out = true;
      continue;
    }
    if (out) longest = std::max(longest, at - last_inside);
    out = false;
    last_inside = at;
  }
  return out ? std::max(longest, length - last_inside) : longest;
}

}  // namespace rig
