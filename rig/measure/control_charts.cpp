#include "rig/measure/control_charts.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <boost/math/special_functions/gamma.hpp>
#include <cassert>
#include <cmath>

namespace rig {
namespace {

using boost::math::quadrature::gauss_kronrod;

double below(double z) { return cdf(boost::math::normal{}, z); }

/// E(range) and its spread, in deviations of one value: d2 = int 1 - (1 - F)^n - F^n, and
/// E(range^2) = 2 int_{x<y} 1 - F(y)^n - (1 - F(x))^n + (F(y) - F(x))^n.
std::pair<double, double> range_of(std::size_t n) {
  const double count = static_cast<double>(n);
  constexpr double kFar = 9;
  const auto first = [&](double x) { return 1 - std::pow(1 - below(x), count) - std::pow(below(x), count); };
  const double d2 = gauss_kronrod<double, 61>::integrate(first, -kFar, kFar, 10, 1e-12);
  const auto second = [&](double y) {
    const auto inner = [&](double x) {
      return 1 - std::pow(below(y), count) - std::pow(1 - below(x), count) + std::pow(below(y) - below(x), count);
    };
    return gauss_kronrod<double, 61>::integrate(inner, -kFar, y, 6, 1e-10);
  };
  const double squares = 2 * gauss_kronrod<double, 61>::integrate(second, -kFar, kFar, 6, 1e-10);
  return {d2, std::sqrt(squares - d2 * d2)};
}

/// How many of the last `of` points up to `at` satisfy a condition.
template <class Condition>
std::size_t count_last(std::span<const double> z, std::size_t at, std::size_t of, Condition holds) {
  const std::size_t from = at + 1 >= of ? at + 1 - of : 0;
  return static_cast<std::size_t>(std::count_if(z.begin() + static_cast<std::ptrdiff_t>(from),
                                                z.begin() + static_cast<std::ptrdiff_t>(at) + 1, holds));
}

/// k of the last n on one side beyond a line, the latest among them.
bool some_beyond(std::span<const double> z, std::size_t at, std::size_t k, std::size_t n, double line) {
  if (z[at] > line) return count_last(z, at, n, [&](double v) { return v > line; }) >= k;
  if (z[at] < -line) return count_last(z, at, n, [&](double v) { return v < -line; }) >= k;
  return false;
}

bool all_of_last(std::span<const double> z, std::size_t at, std::size_t n, auto holds) {
  return at + 1 >= n && count_last(z, at, n, holds) == n;
}

/// n points, each step in one direction.
bool steadily(std::span<const double> z, std::size_t at, std::size_t n) {
  if (at + 1 < n) return false;
  bool rising = true, falling = true;
  for (std::size_t i = at + 2 - n; i <= at; ++i) {
    rising = rising && z[i] > z[i - 1];
    falling = falling && z[i] < z[i - 1];
  }
  return rising || falling;
}

/// n points, each step against the one before.
bool in_turn(std::span<const double> z, std::size_t at, std::size_t n) {
  if (at + 1 < n) return false;
  for (std::size_t i = at + 3 - n; i <= at; ++i)
    if (!((z[i] - z[i - 1]) * (z[i - 1] - z[i - 2]) < 0)) return false;
  return true;
}

bool on_one_side(std::span<const double> z, std::size_t at, std::size_t n) { return some_beyond(z, at, n, n, 0); }

}  // namespace

ChartConstants chart_constants(std::size_t n) {
  assert(n >= 2 && n <= 50);
  const double count = static_cast<double>(n);
  ChartConstants c;
  std::tie(c.d2, c.d3) = range_of(n);
  c.c4 = std::sqrt(2 / (count - 1)) * boost::math::tgamma_ratio(count / 2, (count - 1) / 2);
  const double spread = 3 * std::sqrt(1 - c.c4 * c.c4) / c.c4;
  c.a2 = 3 / (c.d2 * std::sqrt(count));
  c.a3 = 3 / (c.c4 * std::sqrt(count));
  c.b3 = std::max(0.0, 1 - spread);
  c.b4 = 1 + spread;
  c.d3_limit = std::max(0.0, 1 - 3 * c.d3 / c.d2);
  c.d4_limit = 1 + 3 * c.d3 / c.d2;
  c.e2 = 3 / c.d2;
  return c;
}

std::vector<ChartPoint> ewma(std::span<const double> values, double target, double deviation, double share,
                             double width) {
  assert(share > 0 && share <= 1);
  std::vector<ChartPoint> points;
  double average = target, left = 1;
  for (double value : values) {
    average = share * value + (1 - share) * average;
    left *= (1 - share) * (1 - share);
    const double half = width * deviation * std::sqrt(share / (2 - share) * (1 - left));
    points.push_back({average, target - half, target + half});
  }
  return points;
}

std::vector<CusumPoint> cusum(std::span<const double> values, double target, double slack, double decision) {
  std::vector<CusumPoint> points;
  CusumPoint last;
  for (double value : values) {
    last.high = std::max(0.0, last.high + value - target - slack);
    last.low = std::max(0.0, last.low + target - slack - value);
    last.out = last.high > decision || last.low > decision;
    points.push_back(last);
  }
  return points;
}

std::vector<RuleSignal> nelson_signals(std::span<const double> z) {
  std::vector<RuleSignal> signals;
  for (std::size_t i = 0; i < z.size(); ++i) {
    const bool fired[] = {
        std::abs(z[i]) > 3,
        on_one_side(z, i, 9),
        steadily(z, i, 6),
        in_turn(z, i, 14),
        some_beyond(z, i, 2, 3, 2),
        some_beyond(z, i, 4, 5, 1),
        all_of_last(z, i, 15, [](double v) { return std::abs(v) < 1; }),
        all_of_last(z, i, 8, [](double v) { return std::abs(v) > 1; }),
    };
    for (int rule = 1; rule <= 8; ++rule)
      if (fired[rule - 1]) signals.push_back({rule, i});
  }
  return signals;
}

std::vector<RuleSignal> western_signals(std::span<const double> z) {
  std::vector<RuleSignal> signals;
  for (std::size_t i = 0; i < z.size(); ++i) {
    const bool fired[] = {std::abs(z[i]) > 3, some_beyond(z, i, 2, 3, 2), some_beyond(z, i, 4, 5, 1),
                          on_one_side(z, i, 8)};
    for (int rule = 1; rule <= 4; ++rule)
      if (fired[rule - 1]) signals.push_back({rule, i});
  }
  return signals;
}

}  // namespace rig
