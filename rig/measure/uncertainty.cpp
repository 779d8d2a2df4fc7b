#include "rig/measure/uncertainty.hpp"

#include <boost/math/distributions/normal.hpp>
#include <boost/math/distributions/students_t.hpp>
#include <cassert>
#include <cmath>

namespace rig {

double standard_of_rectangular(double half_width) { return half_width / std::sqrt(3.0); }
double standard_of_triangular(double half_width) { return half_width / std::sqrt(6.0); }
double standard_of_arcsine(double half_width) { return half_width / std::sqrt(2.0); }
double standard_of_step(double step) { return step / std::sqrt(12.0); }
double standard_of_two_steps(double step) { return step / std::sqrt(6.0); }

Combined combine(std::span<const Contribution> budget) {
  double variance = 0, weakness = 0;
  for (const Contribution& input : budget) {
    const double part = input.sensitivity * input.standard;
    variance += part * part;
    weakness += part * part * part * part / input.degrees;  // nothing from infinite degrees
  }
  return {std::sqrt(variance), weakness > 0 ? variance * variance / weakness : kInfiniteDegrees};
}

double coverage_factor(double degrees, double confidence) {
  assert(confidence > 0 && confidence < 1 && degrees >= 1);
  const double below = (1 + confidence) / 2;
  if (std::isinf(degrees)) return quantile(boost::math::normal{}, below);
  return quantile(boost::math::students_t{std::floor(degrees)}, below);
}

double expanded(const Combined& combined, double confidence) {
  return coverage_factor(combined.degrees, confidence) * combined.standard;
}

}  // namespace rig
