#include "rig/measure/least_squares.hpp"

#define EIGEN_MPL2_ONLY
#include <Eigen/QR>
#include <boost/math/distributions/chi_squared.hpp>
#include <boost/math/distributions/fisher_f.hpp>
#include <cassert>
#include <cmath>

namespace rig {

double Fit::at(std::span<const double> terms) const {
  assert(terms.size() == coefficients.size());
  double value = 0;
  for (std::size_t i = 0; i < terms.size(); ++i) value += terms[i] * coefficients[i];
  return value;
}

double Fit::standard_at(std::span<const double> terms) const {
  assert(terms.size() == coefficients.size());
  double variance = 0;
  for (std::size_t i = 0; i < terms.size(); ++i)
    for (std::size_t j = 0; j < terms.size(); ++j) variance += terms[i] * covariance[i][j] * terms[j];
  return std::sqrt(std::max(variance, 0.0));
}

double Fit::standard_of(std::size_t coefficient) const { return std::sqrt(covariance[coefficient][coefficient]); }

Fit least_squares(std::span<const Observation> observations, Scatter scatter) {
  assert(!observations.empty());
  const auto rows = static_cast<Eigen::Index>(observations.size());
  const auto columns = static_cast<Eigen::Index>(observations.front().terms.size());
  assert(rows >= columns && (scatter == Scatter::as_stated || rows > columns));
  Eigen::MatrixXd design(rows, columns);
  Eigen::VectorXd values(rows);
  for (Eigen::Index r = 0; r < rows; ++r) {
    const Observation& one = observations[static_cast<std::size_t>(r)];
    assert(static_cast<Eigen::Index>(one.terms.size()) == columns && one.standard > 0);
    for (Eigen::Index c = 0; c < columns; ++c) design(r, c) = one.terms[static_cast<std::size_t>(c)] / one.standard;
    values(r) = one.value / one.standard;
  }
  const Eigen::VectorXd scale = design.colwise().norm();  // columns of like size keep all digits
  assert(scale.minCoeff() > 0);
  design = design * scale.cwiseInverse().asDiagonal();
  const Eigen::ColPivHouseholderQR<Eigen::MatrixXd> solver{design};
  assert(solver.rank() == columns);
  Eigen::VectorXd solution = solver.solve(values);
  solution += solver.solve(values - design * solution);  // once more on what is left
  const Eigen::VectorXd residuals = values - design * solution;

  Fit fit;
  fit.degrees = static_cast<int>(rows - columns);
  fit.residual_deviation = fit.degrees > 0 ? std::sqrt(residuals.squaredNorm() / fit.degrees) : 0;
  const Eigen::MatrixXd root = solver.colsPermutation() * solver.matrixR()
                                                              .topLeftCorner(columns, columns)
                                                              .template triangularView<Eigen::Upper>()
                                                              .solve(Eigen::MatrixXd::Identity(columns, columns));
  const double size = scatter == Scatter::from_residuals ? fit.residual_deviation : 1;
  const Eigen::MatrixXd scaled = size * (scale.cwiseInverse().asDiagonal() * root);
  const Eigen::MatrixXd covariance = scaled * scaled.transpose();
  for (Eigen::Index i = 0; i < columns; ++i) {
    fit.coefficients.push_back(solution(i) / scale(i));
    auto& row = fit.covariance.emplace_back();
    for (Eigen::Index j = 0; j < columns; ++j) row.push_back(covariance(i, j));
  }
  return fit;
}

std::vector<double> powers(double x, int degree) {
  std::vector<double> terms{1};
  for (int i = 0; i < degree; ++i) terms.push_back(terms.back() * x);
  return terms;
}

double fit_probability(const Fit& fit) {
  if (fit.degrees == 0) return 1;
  const double squares = fit.residual_deviation * fit.residual_deviation * fit.degrees;
  return cdf(complement(boost::math::chi_squared{static_cast<double>(fit.degrees)}, squares));
}

double lack_of_fit_probability(double residual_squares, int residual_degrees, double pure_squares, int pure_degrees) {
  const int degrees = residual_degrees - pure_degrees;
  assert(degrees > 0 && pure_degrees > 0 && pure_squares > 0);
  const double f = (residual_squares - pure_squares) / degrees / (pure_squares / pure_degrees);
  return f <= 0 ? 1
                : cdf(complement(boost::math::fisher_f{static_cast<double>(degrees), static_cast<double>(pure_degrees)},
                                 f));
}

}  // namespace rig
