#include "rig/measure/risk.hpp"

#include <algorithm>
#include <boost/math/distributions/normal.hpp>
#include <boost/math/quadrature/gauss_kronrod.hpp>
#include <cassert>
#include <cmath>
#include <vector>

namespace rig {
namespace {

/// Of a normal value about `mean` to lie within limits.
double within(double mean, double deviation, const Band& band) {
  const boost::math::normal normal{mean, deviation};
  double outside = 0;
  if (band.low) outside += cdf(normal, *band.low);
  if (band.high) outside += cdf(complement(normal, *band.high));
  return 1 - outside;
}

}  // namespace

GlobalRisks global_risks(const Process& process, double standard_uncertainty, const Band& tolerance,
                         const Band& acceptance) {
  assert(process.deviation > 0 && standard_uncertainty > 0);
  constexpr double kFar = 10;  // deviations: beyond it nothing is left in a double
  const boost::math::normal prior{process.mean, process.deviation};
  const double from = process.mean - kFar * process.deviation, to = process.mean + kFar * process.deviation;
  const auto accepted_between = [&](double low, double high) {
    if (!(low < high)) return 0.0;
    const auto joint = [&](double truth) {
      return pdf(prior, truth) * within(truth, standard_uncertainty, acceptance);
    };
    // Where the acceptance limits lie the integrand bends within a few uncertainties: each piece is integrated alone.
    std::vector<double> cuts{low};
    for (const auto& limit : {acceptance.low, acceptance.high})
      for (double away : {-6.0, 0.0, 6.0})
        if (limit) cuts.push_back(std::clamp(*limit + away * standard_uncertainty, low, high));
    cuts.push_back(high);
    std::sort(cuts.begin(), cuts.end());
    double sum = 0;
    for (std::size_t i = 1; i < cuts.size(); ++i)
      if (cuts[i - 1] < cuts[i])
        sum += boost::math::quadrature::gauss_kronrod<double, 61>::integrate(joint, cuts[i - 1], cuts[i], 10, 1e-12);
    return sum;
  };
  const double low = std::clamp(tolerance.low.value_or(from), from, to);
  const double high = std::clamp(tolerance.high.value_or(to), from, to);
  GlobalRisks risks;
  risks.conforming = within(process.mean, process.deviation, tolerance);
  const double right = accepted_between(low, high);
  risks.false_accept = accepted_between(from, low) + accepted_between(high, to);
  risks.accepted = right + risks.false_accept;
  risks.false_reject = risks.conforming - right;
  return risks;
}

double risk_on_the_limit(double guard_in_standards) {
  return cdf(complement(boost::math::normal{}, guard_in_standards));
}

double risk_of_any(double each, std::size_t decisions) {
  return -std::expm1(static_cast<double>(decisions) * std::log1p(-each));
}

}  // namespace rig
