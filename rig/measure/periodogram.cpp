#include "rig/measure/periodogram.hpp"

#include <algorithm>
#include <bit>
#include <cmath>
#include <complex>
#include <numbers>
#include <vector>

namespace rig {
namespace {

using Complex = std::complex<double>;

/// Discrete Fourier transform in place, radix two. REQUIRES: the length is a power of two.
void transform(std::vector<Complex>& x) {
  const std::size_t n = x.size();
  for (std::size_t i = 1, j = 0; i < n; ++i) {
    std::size_t bit = n >> 1;
    for (; j & bit; bit >>= 1) j ^= bit;
    j ^= bit;
    if (i < j) std::swap(x[i], x[j]);
  }
  std::vector<Complex> turns(n / 2);
  for (std::size_t k = 0; k < turns.size(); ++k)
    turns[k] = std::polar(1.0, -2 * std::numbers::pi * static_cast<double>(k) / static_cast<double>(n));
  for (std::size_t half = 1; half < n; half *= 2) {
    const std::size_t stride = n / (2 * half);
    for (std::size_t start = 0; start < n; start += 2 * half)
      for (std::size_t k = 0; k < half; ++k) {
        const Complex &w = turns[k * stride], a = x[start + k], b = x[start + k + half];
        const Complex turned{b.real() * w.real() - b.imag() * w.imag(), b.real() * w.imag() + b.imag() * w.real()};
        x[start + k] = a + turned;
        x[start + k + half] = a - turned;
      }
  }
}

/// Where the header's probability is `chance`, by fixed-point steps that shrink its error tenfold each.
double level_of(double band_times_time, double chance) {
  double z = 10;
  for (int i = 0; i < 6; ++i) z = std::log(band_times_time * std::sqrt(std::numbers::pi * z / 3) / chance);
  return z;
}

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

}  // namespace

std::optional<SpectralLine> strongest_line(std::span<const double> values, double period, double lowest, double highest,
                                           double chance) {
  const std::size_t padded = std::bit_ceil(2 * values.size());
  const double step = 1 / (static_cast<double>(padded) * period);  // Hz from one frequency to the next
  const auto first = std::max<std::size_t>(1, static_cast<std::size_t>(std::ceil(lowest / step)));
  const auto last = std::min(padded / 2 - 1, static_cast<std::size_t>(highest / step));
  if (values.size() < 16 || first + 2 > last) return std::nullopt;
  std::vector<Complex> spectrum(padded);
  std::copy(values.begin(), values.end(), spectrum.begin());
  transform(spectrum);
  std::vector<double> power;
  power.reserve(last - first + 1);
  for (std::size_t k = first; k <= last; ++k) power.push_back(std::norm(spectrum[k]));

  const auto n = static_cast<double>(values.size());
  const double deviation = std::sqrt(median_of(power) / (n * std::numbers::ln2));
  const auto peak = static_cast<std::size_t>(std::max_element(power.begin(), power.end()) - power.begin());
  double height = std::sqrt(power[peak]), aside = 0;
  if (peak > 0 && peak + 1 < power.size()) {
    const double before = std::sqrt(power[peak - 1]), after = std::sqrt(power[peak + 1]);
    const double bend = before - 2 * height + after;
    if (bend < 0) aside = (before - after) / (2 * bend), height -= (before - after) * aside / 4;
  }
  SpectralLine line;
  line.amplitude = 2 * height / n;
  line.frequency = (static_cast<double>(first + peak) + aside) * step;
  line.threshold = 2 * deviation * std::sqrt(level_of((highest - lowest) * n * period, chance) / n);
  line.doubt = 2 * deviation * std::sqrt(2 / n);
  return line;
}

}  // namespace rig
