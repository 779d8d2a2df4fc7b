#pragma once

#include <optional>
#include <span>
#include <utility>
#include <vector>

#include "rig/core/finding.hpp"

/// How well a process keeps within limits (ISO 22514-2, formulas from memory), and limits proposed from what it does.
namespace rig {

struct Interval {
  double low = 0, high = 0;
};

/// What units read on one characteristic.
struct Sample {
  std::size_t count = 0;
  double mean = 0, deviation = 0;  ///< sample standard deviation
};
/// REQUIRES: two values or more.
Sample sample_of(std::span<const double> values);

/// (limits' distance) / 6 s; nothing with one limit only. REQUIRES: deviation > 0.
std::optional<double> spread_index(const Sample& sample, const Band& band);
/// The nearer limit's distance / 3 s. REQUIRES: at least one limit, deviation > 0.
double centred_index(const Sample& sample, const Band& band);
/// Confidence interval of spread_index: chi squared, exact for normal values.
Interval spread_interval(double index, std::size_t count, double confidence);
/// Confidence interval of centred_index: Bissell's approximation, 1/(9n) + Cpk^2/(2(n-1)).
Interval centred_interval(double index, std::size_t count, double confidence);

/// Anderson and Darling's test of normality with mean and deviation estimated: A^2 corrected by 1 + 0.75/n + 2.25/n^2,
/// and its probability (Stephens 1986, from memory). REQUIRES: eight values or more, not all equal.
struct Normality {
  double statistic = 0, probability = 1;
};
Normality anderson_darling(std::vector<double> values);

/// How many deviations from the mean hold a share of all units with a confidence.
double one_sided_tolerance_factor(std::size_t count, double share, double confidence);  ///< exact: noncentral t
double two_sided_tolerance_factor(std::size_t count, double share, double confidence);  ///< exact, by integration
/// The confidence with which [k-th smallest, k-th largest] of n values hold a share of all units, whatever their
/// distribution.
double ranks_confidence(std::size_t count, std::size_t k, double share);

/// Wilson's interval of a share. REQUIRES: successes <= tries, tries > 0.
Interval wilson(std::size_t successes, std::size_t tries, double confidence);
/// Clopper and Pearson's: never covers less than it says.
Interval clopper_pearson(std::size_t successes, std::size_t tries, double confidence);

}  // namespace rig
