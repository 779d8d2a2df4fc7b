#include "rig/measure/monte_carlo.hpp"

#include <algorithm>
#include <boost/random/mersenne_twister.hpp>
#include <boost/random/normal_distribution.hpp>
#include <boost/random/uniform_01.hpp>
#include <cassert>
#include <cmath>
#include <numbers>

namespace rig {
namespace {

constexpr std::size_t kBlock = 10'000;

/// Draws inputs and reckons values, block after block.
class Draws {
 public:
  Draws(const Equation& equation, std::span<const Input> inputs, std::uint64_t seed)
      : equation_{equation}, inputs_{inputs}, engine_{seed}, drawn_(inputs.size()) {}

  void append(std::vector<double>& values, std::size_t count) {
    for (std::size_t i = 0; i < count; ++i) {
      for (std::size_t k = 0; k < inputs_.size(); ++k) drawn_[k] = draw(inputs_[k]);
      values.push_back(equation_(drawn_));
    }
  }

 private:
  double draw(const Input& input) {
    switch (input.shape) {
      case Input::Shape::normal:
        return input.value + input.standard * normal_(engine_);
      case Input::Shape::rectangular:
        return input.value + input.standard * std::sqrt(3.0) * (2 * uniform_(engine_) - 1);
      case Input::Shape::triangular:
        return input.value + input.standard * std::sqrt(6.0) * (uniform_(engine_) + uniform_(engine_) - 1);
      case Input::Shape::arcsine:
        return input.value + input.standard * std::sqrt(2.0) * std::sin(2 * std::numbers::pi * uniform_(engine_));
    }
    return input.value;
  }

  const Equation& equation_;
  std::span<const Input> inputs_;
  boost::random::mt19937_64 engine_;
  boost::random::normal_distribution<double> normal_;
  boost::random::uniform_01<double> uniform_;
  std::vector<double> drawn_;
};

Propagated sum_up(std::vector<double> values, double share) {
  std::sort(values.begin(), values.end());
  const std::size_t n = values.size();
  Propagated result;
  result.trials = n;
  for (double value : values) result.mean += value / static_cast<double>(n);
  double squares = 0;
  for (double value : values) squares += (value - result.mean) * (value - result.mean);
  result.standard = std::sqrt(squares / static_cast<double>(n - 1));
  const auto held = static_cast<std::size_t>(std::llround(share * static_cast<double>(n)));  // 7.7.2
  const std::size_t left = (n - held) / 2;
  result.symmetric = {values[left], values[left + held - 1]};
  std::size_t best = 0;
  for (std::size_t i = 0; i + held <= n; ++i)
    if (values[i + held - 1] - values[i] < values[best + held - 1] - values[best]) best = i;
  result.shortest = {values[best], values[best + held - 1]};
  return result;
}

/// Twice the standard error of the mean of some blocks' results.
double unrest(const std::vector<double>& blocks) {
  const double n = static_cast<double>(blocks.size());
  double mean = 0, squares = 0;
  for (double value : blocks) mean += value / n;
  for (double value : blocks) squares += (value - mean) * (value - mean);
  return 2 * std::sqrt(squares / (n * (n - 1)));
}

}  // namespace

Propagated propagate(const Equation& equation, std::span<const Input> inputs, std::size_t trials, double share,
                     std::uint64_t seed) {
  assert(trials >= 1000 && share > 0 && share < 1);
  std::vector<double> values;
  values.reserve(trials);
  Draws{equation, inputs, seed}.append(values, trials);
  return sum_up(std::move(values), share);
}

double numerical_tolerance(double standard, int digits) {
  if (!(standard > 0)) return 0;
  const double last = std::floor(std::log10(standard)) - (digits - 1);
  return std::pow(10.0, last) / 2;
}

Propagated propagate_until_still(const Equation& equation, std::span<const Input> inputs, double share, int digits,
                                 std::size_t most, std::uint64_t seed) {
  assert(digits == 1 || digits == 2);
  Draws draws{equation, inputs, seed};
  std::vector<double> all, means, standards, lows, highs;
  while (all.size() < most) {
    const auto before = static_cast<std::ptrdiff_t>(all.size());
    draws.append(all, kBlock);
    const auto block = sum_up({all.begin() + before, all.end()}, share);
    means.push_back(block.mean), standards.push_back(block.standard);
    lows.push_back(block.symmetric.first), highs.push_back(block.symmetric.second);
    if (means.size() < 2) continue;
    const double tolerance = numerical_tolerance(block.standard, digits);
    if (std::max({unrest(means), unrest(standards), unrest(lows), unrest(highs)}) < tolerance) break;
  }
  return sum_up(std::move(all), share);
}

}  // namespace rig
