#pragma once

#include <algorithm>
#include <cmath>
#include <optional>

#include "rig/compile/worst_of.hpp"
#include "rig/measure/straight_fit.hpp"
#include "rig/measure/uncertainty.hpp"

namespace rig {

/// How an output lies to its table, piece by piece of a hold: what goes slowly up and down leaves no slope over the
/// whole of it.
class PieceMeans {
 public:
  /// The next piece, in playing order. REQUIRES: two readings or more.
  void take(const FitSums& piece) {
    const double mean = piece.y / piece.n;
    const double variance = std::max(0.0, piece.yy - piece.y * mean) / (piece.n - 1);
    const Mean now{mean, std::sqrt(variance / piece.n)};
    if (std::abs(mean) > std::abs(furthest_)) furthest_ = mean;
    if (!lowest_ || mean < lowest_->value) lowest_ = now, rises_ = false;
    if (!highest_ || mean > highest_->value) highest_ = now, rises_ = true;
  }
  /// From one extreme to the other, always positive: what `rises` says is which of them came last. None: 0.
  Candidate range() const {
    if (!lowest_) return {};
    return {highest_->value - lowest_->value, expanded(std::hypot(highest_->standard, lowest_->standard))};
  }
  bool rises() const { return rises_; }
  double furthest() const { return furthest_; }  ///< the mean that lies furthest from the table

 private:
  struct Mean {
    double value = 0, standard = 0;
  };
  std::optional<Mean> lowest_, highest_;
  bool rises_ = true;
  double furthest_ = 0;
};

}  // namespace rig
