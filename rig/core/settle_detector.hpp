#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "rig/core/quantity.hpp"

namespace rig {

/// Decides, bin by bin, whether a signal has settled. It has when, over the last `window`,
///   1. the bin means lie within `span` of each other (a limit cycle whose period is at most the window never passes),
///   and
///   2. what is still to come is at most `span`: for a residual e*exp(-t/tau), the means of the window's two halves
///   differ
///      by D = e * (2 tau / W) * (exp(W / 2 tau) - 1)^2 (e at the window's end), so |D| / that factor <= span, with the
///      slowest tau the product allows. Faster signals leave less.
/// Streaming, no allocation after construction.
class SettleDetector {
 public:
  /// REQUIRES: window a whole number (>= 2) of bins, span > 0, slowest > 0.
  SettleDetector(Nanoseconds window, Nanoseconds bin, double span, Nanoseconds slowest);
  /// Forgets everything: a new segment, or the latency has just passed.
  void restart();
  /// Takes the next bin's mean, in the span's unit (NaN: none was had, which restarts); true when the window that ends
  /// with it has settled.
  bool take(double mean);
  bool settled() const { return settled_; }
  /// How many bins ago the conditions first began to hold without a break: 0 on the very bin that settles; nothing
  /// while unsettled. (The window that held then reaches back a whole window further.)
  std::optional<std::uint32_t> bins_since_first_held() const;

 private:
  bool holds() const;
  std::vector<double> ring_;
  std::size_t filled_ = 0, next_ = 0;
  double span_, half_difference_limit_;
  std::uint32_t held_ = 0;
  bool settled_ = false;
};

}  // namespace rig
