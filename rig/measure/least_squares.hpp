#pragma once

#include <span>
#include <vector>

/// Weighted linear least squares: what calibration lines, drift lines and corrections are fitted with. Solved by an
/// orthogonal decomposition of the weighted design, its columns scaled, so that nothing is squared on the way.
namespace rig {

/// One observation: what each coefficient is multiplied by, what was read, and how far it may be trusted.
struct Observation {
  std::vector<double> terms;
  double value = 0;
  double standard = 1;  ///< its standard uncertainty; equal ones for all mean an ordinary fit
};

struct Fit {
  std::vector<double> coefficients;
  std::vector<std::vector<double>> covariance;  ///< of the coefficients
  double residual_deviation = 0;  ///< sqrt(sum of squared residuals, each over its own standard, per degree of freedom)
  int degrees = 0;                ///< observations - coefficients
  double at(std::span<const double> terms) const;
  /// Standard uncertainty of the fitted value there: sqrt(t' C t), GUM 5.2.2 with the coefficients' covariance.
  double standard_at(std::span<const double> terms) const;
  double standard_of(std::size_t coefficient) const;
};

/// How the coefficients' covariance is scaled.
enum class Scatter {
  from_residuals,  ///< the standards are relative: the residuals say how large they are (an ordinary fit)
  as_stated        ///< the standards are known: the residuals only check them
};

/// REQUIRES: at least one observation, all with as many terms, standards > 0, no fewer observations than terms (more,
/// for Scatter::from_residuals), independent terms.
Fit least_squares(std::span<const Observation> observations, Scatter scatter);

/// 1, x, x^2, ... x^degree.
std::vector<double> powers(double x, int degree);

/// The probability that a model which fits would leave residuals as large as these, chi squared over the degrees, when
/// the standards are as stated: small means that the model does not fit or the standards are too small.
double fit_probability(const Fit& fit);

/// Lack of fit against pure error: the probability of an F this large if the model were right, from readings repeated
/// at the same terms. `pure_squares` is the sum of squares of the repeats about their own means.
double lack_of_fit_probability(double residual_squares, int residual_degrees, double pure_squares, int pure_degrees);

}  // namespace rig
