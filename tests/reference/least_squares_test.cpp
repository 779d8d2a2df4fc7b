#include "rig/measure/least_squares.hpp"

#include <cmath>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

struct Point {
  double x, y;
};

std::vector<Observation> observations(const std::vector<Point>& points, int degree, double about = 0) {
  std::vector<Observation> all;
  for (const auto& [x, y] : points) all.push_back({powers(x - about, degree), y});
  return all;
}

/// NIST StRD, Norris (as shipped with SciPy, nist_linregress/Norris.dat).
const std::vector<Point> kNorris{
    {0.2, 0.1},     {337.4, 338.8}, {118.2, 118.1}, {884.6, 888.0}, {10.1, 9.2},    {226.5, 228.1},
    {666.3, 668.5}, {996.3, 998.5}, {448.6, 449.1}, {777.0, 778.9}, {558.2, 559.2}, {0.4, 0.3},
    {0.6, 0.1},     {775.5, 778.1}, {666.9, 668.8}, {338.0, 339.3}, {447.5, 448.9}, {11.6, 10.8},
    {556.0, 557.7}, {228.1, 228.3}, {995.8, 998.0}, {887.6, 888.8}, {120.2, 119.6}, {0.3, 0.3},
    {0.3, 0.6},     {556.8, 557.6}, {339.1, 339.3}, {887.2, 888.0}, {999.0, 998.5}, {779.0, 778.9},
    {11.1, 10.2},   {118.3, 117.6}, {229.2, 228.9}, {669.1, 668.4}, {448.9, 449.2}, {0.5, 0.2}};

/// NIST/SEMATECH e-Handbook 2.3.6, load cell: three readings at each load (Dataplot's LOADCELL.DAT).
struct Load {
  double load, readings[3];
};
const std::vector<Load> kLoads{
    {2, {0.20024, 0.20016, 0.20024}},  {4, {0.40056, 0.40045, 0.40054}},  {6, {0.60087, 0.60075, 0.60086}},
    {8, {0.80130, 0.80122, 0.80127}},  {10, {1.00173, 1.00164, 1.00173}}, {12, {1.20227, 1.20218, 1.20227}},
    {14, {1.40282, 1.40278, 1.40279}}, {16, {1.60344, 1.60339, 1.60341}}, {18, {1.80412, 1.80409, 1.80411}},
    {20, {2.00485, 2.00481, 2.00483}}, {21, {2.10526, 2.10524, 2.10524}}};

std::vector<Point> load_cell() {
  std::vector<Point> points;
  for (const auto& [load, readings] : kLoads)
    for (double reading : readings) points.push_back({load, reading});
  return points;
}

double squares(const Fit& fit) { return fit.residual_deviation * fit.residual_deviation * fit.degrees; }

}  // namespace

TEST_CASE("a straight line reaches NIST's certified values for Norris to eleven digits", "[reference][fit]") {
  const Fit fit = least_squares(observations(kNorris, 1), Scatter::from_residuals);
  CHECK(fit.coefficients[0] == Approx(-0.262323073774029).epsilon(1e-11));
  CHECK(fit.coefficients[1] == Approx(1.00211681802045).epsilon(1e-13));
  CHECK(fit.standard_of(0) == Approx(0.232818234301152).epsilon(1e-11));
  CHECK(fit.standard_of(1) == Approx(0.429796848199937e-3).epsilon(1e-11));
  CHECK(fit.residual_deviation == Approx(0.884796396144373).epsilon(1e-11));
  CHECK(squares(fit) == Approx(26.6173985294224).epsilon(1e-11));
  CHECK(fit.degrees == 34);
}

// JCGM 100:2008, annex H.3: thermometer calibration, data GUM.H.3 of the R package errors 0.4.4.
TEST_CASE("the guide's thermometer line has the guide's uncertainties and correlation", "[reference][fit]") {
  const double t[] = {21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511};
  const double b[] = {-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160};
  std::vector<Point> points;
  for (std::size_t i = 0; i < std::size(t); ++i) points.push_back({t[i], b[i]});
  const Fit fit = least_squares(observations(points, 1, 20), Scatter::from_residuals);
  CHECK(fit.coefficients[0] == Approx(-0.171203790131).epsilon(1e-10));
  CHECK(fit.standard_of(0) == Approx(0.002877597835).epsilon(1e-9));
  CHECK(fit.coefficients[1] == Approx(0.00218269774).epsilon(1e-8));
  CHECK(fit.standard_of(1) == Approx(0.000667938773).epsilon(1e-8));
  CHECK(fit.covariance[0][1] / (fit.standard_of(0) * fit.standard_of(1)) == Approx(-0.930429603093).epsilon(1e-10));
  CHECK(fit.residual_deviation == Approx(0.00349756396351).epsilon(1e-10));
  CHECK(fit.at(powers(10, 1)) == Approx(-0.149376812732).epsilon(1e-10));  // at 30 degC
  CHECK(fit.standard_at(powers(10, 1)) == Approx(0.004138595753).epsilon(1e-9));
}

// Published coefficients, reproduced to these digits by R's lm.
TEST_CASE("the handbook's load cell comes out with its curvature", "[reference][fit]") {
  const Fit fit = least_squares(observations(load_cell(), 2), Scatter::from_residuals);
  CHECK(fit.coefficients[0] == Approx(-1.8398046726854e-5).epsilon(1e-9));
  CHECK(fit.coefficients[1] == Approx(0.10010248539737).epsilon(1e-12));
  CHECK(fit.coefficients[2] == Approx(7.0318651148185e-6).epsilon(1e-9));
  CHECK(fit.standard_of(0) == Approx(2.4507219893830e-5).epsilon(1e-9));
  CHECK(fit.standard_of(1) == Approx(4.8386994476306e-6).epsilon(1e-9));
  CHECK(fit.standard_of(2) == Approx(2.0136127938992e-7).epsilon(1e-9));
  CHECK(fit.residual_deviation == Approx(3.7640294199368e-5).epsilon(1e-9));
  CHECK(fit.degrees == 30);
  CHECK(fit.covariance[0][1] == Approx(-1.0761634003e-10).epsilon(1e-9));
  CHECK(fit.covariance[0][2] == Approx(4.0198699463e-12).epsilon(1e-9));
  CHECK(fit.covariance[1][2] == Approx(-9.5069403170e-13).epsilon(1e-9));
  CHECK(fit.at(powers(5, 2)) == Approx(0.50066982556797).epsilon(1e-12));
}

TEST_CASE("repeated readings show that a straight line does not fit the load cell, and that a parabola does",
          "[reference][fit]") {
  double pure = 0;
  for (const auto& [load, readings] : kLoads) {
    const double mean = (readings[0] + readings[1] + readings[2]) / 3;
    for (double reading : readings) pure += (reading - mean) * (reading - mean);
  }
  const int pure_degrees = 22;
  CHECK(std::sqrt(pure / pure_degrees) == Approx(4.1414387779440e-5).epsilon(1e-9));  // R
  const Fit line = least_squares(observations(load_cell(), 1), Scatter::from_residuals);
  const Fit parabola = least_squares(observations(load_cell(), 2), Scatter::from_residuals);
  CHECK(line.residual_deviation == Approx(2.3897026863e-4).epsilon(1e-9));
  CHECK(lack_of_fit_probability(squares(line), line.degrees, pure, pure_degrees) < 1e-9);
  CHECK(lack_of_fit_probability(squares(parabola), parabola.degrees, pure, pure_degrees) > 0.5);
}

TEST_CASE("a reading that is trusted ten times less counts a hundred times less", "[reference][fit]") {
  // A constant: the weighted mean, its uncertainty 1 / sqrt(sum of weights) (GUM, from memory).
  const std::vector<Observation> readings{{{1}, 10.0, 0.1}, {{1}, 11.0, 1.0}};
  const Fit fit = least_squares(readings, Scatter::as_stated);
  CHECK(fit.coefficients[0] == Approx((10.0 * 100 + 11.0) / 101).epsilon(1e-14));
  CHECK(fit.standard_of(0) == Approx(1 / std::sqrt(101.0)).epsilon(1e-14));
  // chi squared is 1 / (0.01 + 1) on one degree: erfc(sqrt(x / 2)).
  CHECK(fit_probability(fit) == Approx(std::erfc(std::sqrt(1 / 1.01 / 2))).epsilon(1e-12));
}
