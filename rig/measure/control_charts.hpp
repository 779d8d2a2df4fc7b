#pragma once

#include <array>
#include <cstddef>
#include <span>
#include <vector>

/// Charts of a characteristic over time, and the rules that call for a look.
namespace rig {

/// Constants of charts for subgroups of n values (ASTM E2587), by integration.
struct ChartConstants {
  double d2 = 0, d3 = 0, c4 = 0;
  double a2 = 0, a3 = 0, b3 = 0, b4 = 0, d3_limit = 0, d4_limit = 0, e2 = 0;
};
/// REQUIRES: 2 <= n <= 50.
ChartConstants chart_constants(std::size_t n);

struct ChartPoint {
  double value = 0;
  double low = 0, high = 0;  ///< its control limits
  bool out() const { return value < low || value > high; }
};
/// Exponentially weighted moving average with limits that widen from the start: z_i = share x_i + (1 - share) z_(i-1),
/// +- width s sqrt(share / (2 - share) (1 - (1 - share)^(2 i))). REQUIRES: 0 < share <= 1.
std::vector<ChartPoint> ewma(std::span<const double> values, double target, double deviation, double share = 0.2,
                             double width = 2.962);

/// Cumulative sums of what lies more than `slack` above and below the target; either beyond `decision` calls.
struct CusumPoint {
  double high = 0, low = 0;  ///< sums upwards and downwards, never negative
  bool out = false;
};
/// Slack and decision in the values' unit.
std::vector<CusumPoint> cusum(std::span<const double> values, double target, double slack, double decision);

/// A rule that fired, at which point (counted from 0).
struct RuleSignal {
  int rule = 0;
  std::size_t at = 0;
  friend bool operator==(const RuleSignal&, const RuleSignal&) = default;
};
/// The eight tests of Nelson (Journal of Quality Technology 16, 1984), in order of point, then rule. A point on a line
/// is inside it; one on the centre line breaks a run; a k-of-n test fires from k points on, and only at a point of the
/// kind it counts.
std::vector<RuleSignal> nelson_signals(std::span<const double> z);
/// The four zone tests of the Western Electric handbook (1956): beyond 3; 2 of 3 beyond 2; 4 of 5 beyond 1; 8 on one
/// side.
std::vector<RuleSignal> western_signals(std::span<const double> z);

}  // namespace rig
