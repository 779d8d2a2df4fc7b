#include "rig/core/settle_detector.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

namespace rig {

SettleDetector::SettleDetector(Nanoseconds window, Nanoseconds bin, double span, Nanoseconds slowest) : span_{span} {
  assert(bin.count() > 0 && window.count() >= 2 * bin.count() && window.count() % bin.count() == 0);
  assert(span > 0 && slowest.count() > 0);
  ring_.resize(static_cast<std::size_t>(window / bin));
  // An odd window leaves its middle bin out of both halves: their means then differ by
  // e * tau/H * (exp(H/tau) - 1) * (exp((W-H)/tau) - 1), which is the header's formula when H = W/2.
  const double tau = seconds(slowest);
  const std::size_t bins_in_half = ring_.size() / 2;
  const double whole = seconds(window), half = seconds(bin) * static_cast<double>(bins_in_half);
  half_difference_limit_ = span * (tau / half) * std::expm1(half / tau) * std::expm1((whole - half) / tau);
}

void SettleDetector::restart() {
  filled_ = next_ = 0;
  held_ = 0;
  settled_ = false;
}

bool SettleDetector::take(double mean) {
  if (!std::isfinite(mean)) {  // what was not measured cannot have settled
    restart();
    return false;
  }
  ring_[next_] = mean;
  next_ = next_ + 1 == ring_.size() ? 0 : next_ + 1;
  filled_ = std::min(filled_ + 1, ring_.size());
  settled_ = filled_ == ring_.size() && holds();
  held_ = settled_ ? held_ + 1 : 0;
  return settled_;
}

bool SettleDetector::holds() const {
  // The newest bin first: while a signal moves, it and its neighbours already differ too much.
  const std::size_t n = ring_.size(), half = n / 2;
  double low = ring_[next_], high = low, difference = 0;
  for (std::size_t age = 0, i = next_; age < n; ++age) {
    i = i == 0 ? n - 1 : i - 1;
    const double mean = ring_[i];
    low = std::min(low, mean);
    high = std::max(high, mean);
    if (high - low > span_) return false;
    if (age < half) difference += mean;
    if (age >= n - half) difference -= mean;
  }
  return std::abs(difference) / static_cast<double>(half) <= half_difference_limit_;
}

std::optional<std::uint32_t> SettleDetector::bins_since_first_held() const {
  if (!settled_) return std::nullopt;
  return held_ - 1;
}

}  // namespace rig
