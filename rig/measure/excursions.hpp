#pragma once

#include <cstddef>
#include <span>
#include <vector>

namespace rig {

/// A stretch of neighbouring bins in which a signal left its limits.
struct Excursion {
  std::size_t first = 0, bins = 0;
  double worst = 0;  ///< how far beyond the limits' middle at most, signed
};

/// Extremes and mean of a bin.
struct SignalBin {
  double low, high, mean;
};

/// Where a signal is further than `limit` from `middle` for longer than one bin may be: over two bins or more, or, in a
/// single one, with its mean. A single spike within one bin is noise.
std::vector<Excursion> excursions(std::span<const SignalBin> bins, double middle, double limit);

}  // namespace rig
