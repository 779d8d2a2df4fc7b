#include "rig/measure/variance.hpp"

#include <algorithm>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cassert>
#include <cmath>
#include <numeric>

namespace rig {
namespace {

/// A mean that is corrected once for what its own rounding left.
double mean_of(std::span<const double> values) {
  const double n = static_cast<double>(values.size());
  const double first = std::accumulate(values.begin(), values.end(), 0.0) / n;
  double rest = 0;
  for (double value : values) rest += value - first;
  return first + rest / n;
}

double squares_about(std::span<const double> values, double centre) {
  double squares = 0;
  for (double value : values) squares += (value - centre) * (value - centre);
  return squares;
}

double probability_of_f(double f, int above, int below) {
  if (!(f > 0) || !std::isfinite(f)) return f > 0 ? 0 : 1;
  return cdf(complement(boost::math::fisher_f{static_cast<double>(above), static_cast<double>(below)}, f));
}

}  // namespace

OneWay one_way(const std::vector<std::vector<double>>& groups) {
  assert(groups.size() >= 2);
  std::vector<double> all;
  for (const auto& group : groups) all.insert(all.end(), group.begin(), group.end());
  const double grand = mean_of(all);
  OneWay result;
  result.between_degrees = static_cast<int>(groups.size()) - 1;
  result.within_degrees = static_cast<int>(all.size() - groups.size());
  assert(result.within_degrees > 0);
  for (const auto& group : groups) {
    assert(!group.empty());
    const double mean = mean_of(group);
    result.between_squares += static_cast<double>(group.size()) * (mean - grand) * (mean - grand);
    result.within_squares += squares_about(group, mean);
  }
  const double within = result.within_squares / result.within_degrees;
  result.within_deviation = std::sqrt(within);
  result.f = result.between_squares / result.between_degrees / within;
  result.probability = probability_of_f(result.f, result.between_degrees, result.within_degrees);
  return result;
}

namespace {

/// Means of cells, rows, columns and all of a crossed study.
struct Means {
  double grand = 0;
  std::vector<double> part, who, cell;
};

Means means_of(const CrossedReadings& r) {
  Means means;
  means.grand = mean_of(r.values);
  for (std::size_t p = 0; p < r.parts; ++p) {
    means.part.push_back(mean_of(std::span{r.values}.subspan(p * r.operators * r.trials, r.operators * r.trials)));
    for (std::size_t o = 0; o < r.operators; ++o)
      means.cell.push_back(mean_of(std::span{r.values}.subspan((p * r.operators + o) * r.trials, r.trials)));
  }
  for (std::size_t o = 0; o < r.operators; ++o) {
    std::vector<double> cells;
    for (std::size_t p = 0; p < r.parts; ++p) cells.push_back(means.cell[p * r.operators + o]);
    means.who.push_back(mean_of(cells));
  }
  return means;
}

}  // namespace

CrossedStudy crossed_study(const CrossedReadings& r, double pool_above) {
  assert(r.parts >= 2 && r.operators >= 2 && r.trials >= 2 && r.values.size() == r.parts * r.operators * r.trials);
  const Means means = means_of(r);
  const auto count = [](std::size_t n) { return static_cast<double>(n); };
  const double p = count(r.parts), o = count(r.operators), n = count(r.trials);
  CrossedStudy s;
  s.n_parts = r.parts, s.n_who = r.operators, s.n_trials = r.trials;
  s.part = {static_cast<int>(r.parts) - 1, o * n * squares_about(means.part, means.grand)};
  s.who = {static_cast<int>(r.operators) - 1, p * n * squares_about(means.who, means.grand)};
  s.interaction.degrees = s.part.degrees * s.who.degrees;
  for (std::size_t i = 0; i < r.parts; ++i)
    for (std::size_t j = 0; j < r.operators; ++j) {
      const double cell = means.cell[i * r.operators + j];
      const double left = cell - means.part[i] - means.who[j] + means.grand;
      s.interaction.squares += n * left * left;
      s.residual.squares +=
          squares_about(std::span{r.values}.subspan((i * r.operators + j) * r.trials, r.trials), cell);
    }
  s.residual.degrees = static_cast<int>(r.parts * r.operators * (r.trials - 1));
  s.interaction_probability =
      probability_of_f(s.interaction.mean() / s.residual.mean(), s.interaction.degrees, s.residual.degrees);
  s.pooled = s.interaction_probability > pool_above;
  double error = s.residual.mean(), against = s.interaction.mean();
  if (s.pooled) {
    error = (s.interaction.squares + s.residual.squares) / (s.interaction.degrees + s.residual.degrees);
    against = error;
  }
  s.repeatability = error;
  s.interaction_part = s.pooled ? 0 : std::max(0.0, (s.interaction.mean() - error) / n);
  s.reproducibility = std::max(0.0, (s.who.mean() - against) / (p * n));
  s.parts = std::max(0.0, (s.part.mean() - against) / (o * n));
  return s;
}

int CrossedStudy::distinct_categories() const {
  if (of_the_gauge() <= 0) return 1;
  return std::max(1, static_cast<int>(1.41 * std::sqrt(parts / of_the_gauge())));
}

/// The gauge's variance is a sum of mean squares with positive weights, whose limits add up in squares: of
/// who / (p n) + interaction (p - 1) / (p n) + residual (n - 1) / n, or, pooled, of who / (p n) + error (p n - 1) / (p
/// n).
std::pair<double, double> CrossedStudy::gauge_limits(double confidence) const {
  const double p = static_cast<double>(n_parts), n = static_cast<double>(n_trials);
  struct Term {
    double weight, mean;
    int degrees;
  };
  std::vector<Term> terms{{1 / (p * n), who.mean(), who.degrees}};
  if (pooled) {
    terms.push_back({(p * n - 1) / (p * n), repeatability, interaction.degrees + residual.degrees});
  } else {
    terms.push_back({(p - 1) / (p * n), interaction.mean(), interaction.degrees});
    terms.push_back({(n - 1) / n, residual.mean(), residual.degrees});
  }
  const double tail = (1 - confidence) / 2;
  double estimate = 0, down = 0, up = 0;
  for (const Term& term : terms) {
    const boost::math::chi_squared chi{static_cast<double>(term.degrees)};
    const double share = term.weight * term.mean;
    const double lower = 1 - term.degrees / quantile(complement(chi, tail));
    const double upper = term.degrees / quantile(chi, tail) - 1;
    estimate += share;
    down += lower * lower * share * share;
    up += upper * upper * share * share;
  }
  return {std::sqrt(std::max(0.0, estimate - std::sqrt(down))), std::sqrt(estimate + std::sqrt(up))};
}

}  // namespace rig
