#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace rig {

/// Smallest and largest value around each sample.
struct SlidingExtremes {
  std::vector<double> low, high;
};

/// For every i the extremes of values[i - back] to values[i - ahead]: what an output that lags its input by `ahead` to
/// `back` samples may be answering to. At the start the first value is taken to have been there before. Linear in the
/// number of values. REQUIRES: ahead <= back, values not empty.
SlidingExtremes sliding_extremes(std::span<const double> values, std::size_t back, std::size_t ahead = 0);

}  // namespace rig
