#pragma once

/// A straight line through readings by least squares, from sums that can be added up piece by piece.
namespace rig {

struct FitSums {
  double n = 0, t = 0, tt = 0, y = 0, ty = 0, yy = 0;
  void take(double at, double value);
  /// Another piece whose times count from `later` after this one's.
  void join(const FitSums& piece, double later);
};

/// y = level + slope (t - middle); doubts are expanded, k = 2, the readings' scatter about the line taken as
/// independent (Draper and Smith, Applied Regression Analysis, 1.3-1.4, from memory).
struct StraightFit {
  double middle = 0, level = 0, slope = 0;
  double scatter = 0;  ///< standard deviation about the line
  double slope_doubt = 0;
  double at(double t) const { return level + slope * (t - middle); }
};

/// REQUIRES: three readings or more, at three times or more.
StraightFit fit_of(const FitSums& sums);

}  // namespace rig
