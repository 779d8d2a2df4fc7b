#include "rig/measure/waveform.hpp"

#include <algorithm>
#include <cmath>
#include <vector>

namespace rig {
namespace {

/// Where the line from sample i - 1 to sample i crosses a level, in samples.
double crossing(std::span<const double> v, std::size_t i, double level) {
  const double from = v[i - 1], to = v[i];
  return static_cast<double>(i) - (to == from ? 0.0 : (to - level) / (to - from));
}

/// The mean of the samples that lie in bin `mode` or one beside it.
double level_about(std::span<const double> values, double low, double width, std::size_t mode) {
  const double from = low + (static_cast<double>(mode) - 1) * width, to = from + 3 * width;
  double sum = 0;
  std::size_t count = 0;
  for (const double v : values)
    if (v >= from && v <= to) sum += v - from, ++count;
  return from + sum / static_cast<double>(count);
}

/// The signal turned so that it rises from 0 to 1.
std::vector<double> normalised(const Waveform& signal, const StateLevels& levels, bool rising) {
  std::vector<double> shares;
  shares.reserve(signal.values.size());
  for (const double v : signal.values)
    shares.push_back((rising ? v - levels.low : levels.high - v) / levels.amplitude());
  return shares;
}

}  // namespace

std::optional<StateLevels> state_levels(std::span<const double> values, int bins) {
  if (values.empty() || !std::all_of(values.begin(), values.end(), [](double v) { return std::isfinite(v); }))
    return std::nullopt;
  const auto [lowest, highest] = std::minmax_element(values.begin(), values.end());
  const double low = *lowest, width = (*highest - low) / bins;
  if (!(width > 0)) return std::nullopt;
  std::vector<std::size_t> histogram(static_cast<std::size_t>(bins));
  for (const double v : values)
    ++histogram[std::min(static_cast<std::size_t>((v - low) / width), histogram.size() - 1)];
  const auto half = histogram.begin() + bins / 2;
  const auto lower = std::max_element(histogram.begin(), half), upper = std::max_element(half, histogram.end());
  if (*lower == 0 || *upper == 0) return std::nullopt;
  return StateLevels{level_about(values, low, width, static_cast<std::size_t>(lower - histogram.begin())),
                     level_about(values, low, width, static_cast<std::size_t>(upper - histogram.begin()))};
}

std::optional<Transition> first_transition(const Waveform& signal, const StateLevels& levels, bool rising) {
  if (!(levels.amplitude() > 0)) return std::nullopt;
  const auto share = normalised(signal, levels, rising);
  std::size_t at90 = 0;
  std::optional<double> t10, t50;  // in samples
  for (std::size_t i = 1; i < share.size() && at90 == 0; ++i) {
    if (share[i - 1] < 0.1 && share[i] >= 0.1) t10 = crossing(share, i, 0.1), t50.reset();
    if (!t10) continue;
    if (!t50 && share[i - 1] < 0.5 && share[i] >= 0.5) t50 = crossing(share, i, 0.5);
    if (t50 && share[i - 1] < 0.9 && share[i] >= 0.9) at90 = i;
  }
  if (at90 == 0) return std::nullopt;
  Transition found;
  found.rising = rising;
  found.t10 = *t10 * signal.period;
  found.t50 = *t50 * signal.period;
  found.t90 = crossing(share, at90, 0.9) * signal.period;
  const auto middle = share.begin() + static_cast<std::ptrdiff_t>(std::ceil(*t50));
  found.overshoot = std::max(0.0, *std::max_element(middle, share.end()) - 1);
  found.preshoot = std::max(0.0, -*std::min_element(share.begin(), middle));
  return found;
}

std::optional<double> settled_at(const Waveform& signal, const StateLevels& levels, bool rising, double share,
                                 double from) {
  if (!(levels.amplitude() > 0) || signal.values.empty()) return std::nullopt;
  const auto shares = normalised(signal, levels, rising);
  const auto outside = [&](double s) { return std::abs(s - 1) > share; };
  std::size_t i = shares.size();
  while (i > 0 && !outside(shares[i - 1])) --i;
  if (i == shares.size()) return std::nullopt;
  if (i == 0) return from;
  return std::max(from, crossing(shares, i, shares[i - 1] > 1 ? 1 + share : 1 - share) * signal.period);
}

}  // namespace rig
