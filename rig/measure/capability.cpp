#include "rig/measure/capability.hpp"

#include <algorithm>
#include <boost/math/distributions/beta.hpp>
#include <boost/math/distributions/binomial.hpp>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/non_central_t.hpp>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <boost/math/tools/toms748_solve.hpp>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rig {
namespace {

double normal_quantile(double p) { return quantile(boost::math::normal{}, p); }
double normal_below(double z) { return cdf(boost::math::normal{}, z); }

/// The root of a falling or rising function between two ends of opposite sign.
template <class F>
double root_between(F f, double low, double high) {
  std::uintmax_t most = 200;
  const auto found =
      boost::math::tools::toms748_solve(f, low, high, boost::math::tools::eps_tolerance<double>{48}, most);
  return (found.first + found.second) / 2;
}

}  // namespace

Sample sample_of(std::span<const double> values) {
  assert(values.size() >= 2);
  const double n = static_cast<double>(values.size());
  double mean = 0, squares = 0;
  for (double value : values) mean += value / n;
  for (double value : values) squares += (value - mean) * (value - mean);
  return {values.size(), mean, std::sqrt(squares / (n - 1))};
}

std::optional<double> spread_index(const Sample& sample, const Band& band) {
  if (!band.low || !band.high) return std::nullopt;
  return (*band.high - *band.low) / (6 * sample.deviation);
}

double centred_index(const Sample& sample, const Band& band) {
  assert(band.low || band.high);
  double nearest = std::numeric_limits<double>::infinity();
  if (band.low) nearest = std::min(nearest, sample.mean - *band.low);
  if (band.high) nearest = std::min(nearest, *band.high - sample.mean);
  return nearest / (3 * sample.deviation);
}

Interval spread_interval(double index, std::size_t count, double confidence) {
  const double degrees = static_cast<double>(count) - 1, tail = (1 - confidence) / 2;
  const boost::math::chi_squared chi{degrees};
  return {index * std::sqrt(quantile(chi, tail) / degrees),
          index * std::sqrt(quantile(complement(chi, tail)) / degrees)};
}

Interval centred_interval(double index, std::size_t count, double confidence) {
  const double n = static_cast<double>(count), z = normal_quantile((1 + confidence) / 2);
  const double half = z * std::sqrt(1 / (9 * n) + index * index / (2 * (n - 1)));
  return {index - half, index + half};
}

Normality anderson_darling(std::vector<double> values) {
  assert(values.size() >= 8);
  std::sort(values.begin(), values.end());
  const Sample sample = sample_of(values);
  assert(sample.deviation > 0);
  const double n = static_cast<double>(values.size());
  const boost::math::normal normal;
  double sum = 0;
  for (std::size_t i = 0; i < values.size(); ++i) {
    const double below = (values[i] - sample.mean) / sample.deviation;
    const double above = (values[values.size() - 1 - i] - sample.mean) / sample.deviation;
    sum +=
        (2.0 * static_cast<double>(i) + 1) * (std::log(cdf(normal, below)) + std::log(cdf(complement(normal, above))));
  }
  const double a = (-n - sum / n) * (1 + 0.75 / n + 2.25 / (n * n));
  double p = 0;
  if (a >= 0.6)
    p = std::exp(1.2937 - 5.709 * a + 0.0186 * a * a);
  else if (a >= 0.34)
    p = std::exp(0.9177 - 4.279 * a - 1.38 * a * a);
  else if (a >= 0.2)
    p = 1 - std::exp(-8.318 + 42.796 * a - 59.938 * a * a);
  else
    p = 1 - std::exp(-13.436 + 101.14 * a - 223.73 * a * a);
  return {a, std::clamp(p, 0.0, 1.0)};
}

double one_sided_tolerance_factor(std::size_t count, double share, double confidence) {
  assert(count >= 2);
  const double n = static_cast<double>(count);
  const boost::math::non_central_t t{n - 1, normal_quantile(share) * std::sqrt(n)};
  return quantile(t, confidence) / std::sqrt(n);
}

double two_sided_tolerance_factor(std::size_t count, double share, double confidence) {
  assert(count >= 2);
  const double n = static_cast<double>(count), degrees = n - 1;
  const boost::math::chi_squared chi{degrees};
  // How far to either side of a mean that is off by x the share reaches.
  const auto reach = [&](double x) {
    const auto lacks = [&](double r) { return normal_below(x + r) - normal_below(x - r) - share; };
    return root_between(lacks, 0, x + 10);
  };
  const auto holds = [&](double k) {
    const auto integrand = [&](double x) {
      const double r = reach(x);
      return cdf(complement(chi, degrees * r * r / (k * k))) * std::exp(-n * x * x / 2);
    };
    const double far = 8 / std::sqrt(n);  // beyond it the mean hardly ever is
    return std::sqrt(2 * n / std::numbers::pi) *
           boost::math::quadrature::gauss_kronrod<double, 31>::integrate(integrand, 0.0, far, 8, 1e-10);
  };
  return root_between([&](double k) { return holds(k) - confidence; }, 0.1, 1000.0);
}

double ranks_confidence(std::size_t count, std::size_t k, double share) {
  assert(k >= 1 && 2 * k <= count);
  // The share between two ranks is distributed as a beta of their distance.
  const double between = static_cast<double>(count + 1 - 2 * k), outside = static_cast<double>(2 * k);
  return cdf(complement(boost::math::beta_distribution<double>{between, outside}, share));
}

Interval wilson(std::size_t successes, std::size_t tries, double confidence) {
  assert(successes <= tries && tries > 0);
  const double n = static_cast<double>(tries), p = static_cast<double>(successes) / n;
  const double z = normal_quantile((1 + confidence) / 2), z2 = z * z;
  const double middle = (p + z2 / (2 * n)) / (1 + z2 / n);
  const double half = z / (1 + z2 / n) * std::sqrt(p * (1 - p) / n + z2 / (4 * n * n));
  return {successes == 0 ? 0 : middle - half, successes == tries ? 1 : middle + half};
}

Interval clopper_pearson(std::size_t successes, std::size_t tries, double confidence) {
  using Binomial = boost::math::binomial;
  const double n = static_cast<double>(tries), k = static_cast<double>(successes), tail = (1 - confidence) / 2;
  return {Binomial::find_lower_bound_on_p(n, k, tail), Binomial::find_upper_bound_on_p(n, k, tail)};
}

}  // namespace rig
