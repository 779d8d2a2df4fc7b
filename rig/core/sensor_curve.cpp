#include "rig/core/sensor_curve.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>
#include <utility>

#include "rig/core/number_text.hpp"

namespace rig {
namespace {

constexpr double kNoValue = std::numeric_limits<double>::quiet_NaN();

double kelvin(Celsius t) { return t.value() + kZeroCelsiusInKelvin; }
Celsius from_kelvin(double t) { return Celsius{t - kZeroCelsiusInKelvin}; }

/// Linear through two points, also beyond them.
double line(double x, double x0, double y0, double x1, double y1) { return y0 + (x - x0) * (y1 - y0) / (x1 - x0); }

/// The first of the two points whose piece holds `x`; the end pieces go on outwards.
template <class Points, class Key>
std::size_t piece_of(const Points& points, Key key, double x) {
  std::size_t i = 0;
  while (i + 2 < points.size() && key(points[i + 1]) <= x) ++i;
  return i;
}

}  // namespace

PressureCurve::PressureCurve(std::vector<Point> points, Volts nominal_rail)
    : points_{std::move(points)}, nominal_rail_{nominal_rail} {
  assert(!problem(points_, nominal_rail_));
}

std::optional<std::string> PressureCurve::problem(const std::vector<Point>& points, Volts nominal_rail) {
  if (!std::isfinite(nominal_rail.value()) || nominal_rail <= Volts{0}) return "the nominal rail is not above 0 V";
  if (points.size() < 2) return "a pressure curve needs two points or more";
  for (std::size_t i = 0; i < points.size(); ++i) {
    const std::string where = "point " + std::to_string(i + 1);
    if (!std::isfinite(points[i].pressure.value()) || !std::isfinite(points[i].volts.value())) {
      return where + " is not finite";
    }
    if (i == 0) continue;
    if (points[i].pressure <= points[i - 1].pressure) {
      return where + ": " + shortest_text(points[i].pressure.value()) + " kPa is not above the pressure before it";
    }
    if (points[i].volts <= points[i - 1].volts) {
      return where + ": " + shortest_text(points[i].volts.value()) + " V is not above the voltage before it";
    }
  }
  return std::nullopt;
}

Volts PressureCurve::volts(Kilopascals pressure, Volts rail) const {
  const double p = pressure.value();
  const auto i = piece_of(
      points_, [](const Point& point) { return point.pressure.value(); }, p);
  const Point &a = points_[i], &b = points_[i + 1];
  const double at_nominal = line(p, a.pressure.value(), a.volts.value(), b.pressure.value(), b.volts.value());
  return Volts{at_nominal * (rail / nominal_rail_)};
}

Kilopascals PressureCurve::pressure(Volts volts, Volts rail) const {
  // Without a rail a ratiometric voltage means nothing: no number is better than a plausible one.
  if (!(rail > Volts{0})) return Kilopascals{kNoValue};
  const double v = volts.value() * (nominal_rail_ / rail);
  const auto i = piece_of(
      points_, [](const Point& point) { return point.volts.value(); }, v);
  const Point &a = points_[i], &b = points_[i + 1];
  return Kilopascals{line(v, a.volts.value(), a.pressure.value(), b.volts.value(), b.pressure.value())};
}

double PressureCurve::kilopascals_per_volt(Kilopascals pressure, Volts rail) const {
  if (!(rail > Volts{0})) return kNoValue;
  const auto i = piece_of(
      points_, [](const Point& point) { return point.pressure.value(); }, pressure.value());
  const Point &a = points_[i], &b = points_[i + 1];
  return (b.pressure - a.pressure).value() / (b.volts - a.volts).value() * (nominal_rail_ / rail);
}

Celsius SteinhartHart::temperature(Ohms resistance) const {
  const double l = std::log(resistance.value());
  return from_kelvin(1 / (a + b * l + c * l * l * l));
}

Ohms SteinhartHart::resistance(Celsius temperature) const {
  const double inverse = 1 / kelvin(temperature);
  double l = (inverse - a) / b;
  if (c != 0) {
    const double y = (a - inverse) / (2 * c);
    const double x = std::sqrt(std::pow(b / (3 * c), 3) + y * y);
    if (std::isfinite(x)) l = std::cbrt(x - y) - std::cbrt(x + y);
    // The two cube roots nearly cancel when C is small; Newton's steps win the digits back.
    for (int i = 0; i < 3; ++i) l -= (a + b * l + c * l * l * l - inverse) / (b + 3 * c * l * l);
  }
  return Ohms{std::exp(l)};
}

SteinhartHart SteinhartHart::through(Celsius t1, Ohms r1, Celsius t2, Ohms r2, Celsius t3, Ohms r3) {
  const double l1 = std::log(r1.value()), l2 = std::log(r2.value()), l3 = std::log(r3.value());
  const double y1 = 1 / kelvin(t1), y2 = 1 / kelvin(t2), y3 = 1 / kelvin(t3);
  const double g2 = (y2 - y1) / (l2 - l1), g3 = (y3 - y1) / (l3 - l1);
  const double c = (g3 - g2) / (l3 - l2) / (l1 + l2 + l3);
  const double b = g2 - c * (l1 * l1 + l1 * l2 + l2 * l2);
  return {y1 - l1 * (b + c * l1 * l1), b, c};
}

Ohms BetaModel::resistance(Celsius temperature) const {
  return at_reference * std::exp(beta.value() * (1 / kelvin(temperature) - 1 / kelvin(reference)));
}

Celsius BetaModel::temperature(Ohms resistance) const {
  return from_kelvin(1 / (1 / kelvin(reference) + std::log(resistance / at_reference) / beta.value()));
}

namespace {

// IEC 60751, the industrial platinum curve.
constexpr double kA = 3.9083e-3, kB = -5.775e-7, kC = -4.183e-12;

double platinum_ratio(double t) {
  const double positive = 1 + t * (kA + t * kB);
  return t >= 0 ? positive : positive + kC * (t - 100) * t * t * t;
}

}  // namespace

Ohms Platinum::resistance(Celsius temperature) const { return at_zero * platinum_ratio(temperature.value()); }

Celsius Platinum::temperature(Ohms resistance) const {
  const double ratio = resistance / at_zero;
  double t = (-kA + std::sqrt(kA * kA - 4 * kB * (1 - ratio))) / (2 * kB);
  if (t < 0) {
    for (int i = 0; i < 6; ++i) {
      const double slope = kA + 2 * kB * t + kC * t * t * (4 * t - 300);
      t -= (platinum_ratio(t) - ratio) / slope;
    }
  }
  return Celsius{t};
}

Ohms ThermistorTable::resistance(Celsius temperature) const {
  assert(points.size() >= 2);
  const auto i = piece_of(
      points, [](const Point& p) { return p.temperature.value(); }, temperature.value());
  const Point &a = points[i], &b = points[i + 1];
  return Ohms{std::exp(line(1 / kelvin(temperature), 1 / kelvin(a.temperature), std::log(a.resistance.value()),
                            1 / kelvin(b.temperature), std::log(b.resistance.value())))};
}

Celsius ThermistorTable::temperature(Ohms resistance) const {
  assert(points.size() >= 2);
  const auto i = piece_of(
      points, [](const Point& p) { return -p.resistance.value(); }, -resistance.value());
  const Point &a = points[i], &b = points[i + 1];
  return from_kelvin(1 / line(std::log(resistance.value()), std::log(a.resistance.value()), 1 / kelvin(a.temperature),
                              std::log(b.resistance.value()), 1 / kelvin(b.temperature)));
}

Ohms TemperatureCurve::resistance(Celsius temperature) const {
  return std::visit([&](const auto& curve) { return curve.resistance(temperature); }, model);
}

Volts TemperatureCurve::volts(Celsius temperature, Volts rail) const {
  const Ohms r = resistance(temperature);
  return rail * (r / (r + pull_up));
}

Celsius TemperatureCurve::temperature(Volts volts, Volts rail) const {
  if (!(volts > Volts{0} && volts < rail)) return Celsius{kNoValue};
  const Ohms r = pull_up * (volts / (rail - volts));
  return std::visit([&](const auto& curve) { return curve.temperature(r); }, model);
}

double TemperatureCurve::kelvins_per_volt(Celsius temperature, Volts rail) const {
  // Every model is smooth over this distance, save at a table's own points, where the mean of both slopes is as good.
  constexpr Kelvins kStep{0.01};
  const Volts difference = volts(temperature + kStep, rail) - volts(temperature - kStep, rail);
  return std::abs(2 * kStep.value() / difference.value());
}

}  // namespace rig
