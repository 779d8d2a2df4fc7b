#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rig/core/quantity.hpp"

namespace rig {

/// The two voltages beyond which a controller calls a signal faulty, for a 5 V rail at its nominal value.
struct DiagnosticRails {
  Volts low{0.25};
  Volts high{4.75};
};

/// A ratiometric pressure sensor, as pairs of (pressure, volts at the nominal rail); two points make it linear, more
/// make it piecewise linear. Both columns strictly increasing. Volts scale with the rail: V = V_table * rail / nominal.
/// Beyond the ends the first and last pieces go on, so that a reading a little outside the range still has a meaning;
/// whether it is a valid one is the rails' question.
class PressureCurve {
 public:
  struct Point {
    Kilopascals pressure;
    Volts volts;
  };
  /// REQUIRES: two points or more, both columns strictly increasing, all finite, nominal > 0 (`problem` says if not).
  explicit PressureCurve(std::vector<Point> points, Volts nominal_rail = Volts{5.0});
  /// What is wrong with these points, in words, or nothing.
  static std::optional<std::string> problem(const std::vector<Point>& points, Volts nominal_rail);

  Volts volts(Kilopascals pressure, Volts rail) const;
  Kilopascals pressure(Volts volts, Volts rail) const;
  /// dP/dV at a pressure, in kPa per volt, at this rail: turns an uncertainty in volts into one in kPa.
  double kilopascals_per_volt(Kilopascals pressure, Volts rail) const;
  const std::vector<Point>& points() const { return points_; }
  Volts nominal_rail() const { return nominal_rail_; }

 private:
  std::vector<Point> points_;
  Volts nominal_rail_;
};

/// 1/T = A + B ln R + C (ln R)^3, T in kelvin, R in ohm (Steinhart & Hart, Deep-Sea Research 15, 1968).
struct SteinhartHart {
  double a, b, c;
  Ohms resistance(Celsius temperature) const;
  Celsius temperature(Ohms resistance) const;
  /// The coefficients through three points. REQUIRES: three different temperatures and resistances.
  static SteinhartHart through(Celsius t1, Ohms r1, Celsius t2, Ohms r2, Celsius t3, Ohms r3);
};

/// R(T) = R0 exp(B (1/T - 1/T0)), T in kelvin.
struct BetaModel {
  Ohms at_reference;
  Celsius reference{25.0};
  Kelvins beta{3500.0};
  Ohms resistance(Celsius temperature) const;
  Celsius temperature(Ohms resistance) const;
};

/// Platinum after IEC 60751: R = R0 (1 + A t + B t^2 + C (t - 100) t^3), last term below 0 degC only.
struct Platinum {
  Ohms at_zero{100.0};
  Ohms resistance(Celsius temperature) const;
  Celsius temperature(Ohms resistance) const;
};

/// A thermistor given as (temperature, resistance) pairs: temperature strictly increasing, resistance strictly
/// decreasing; ln R is interpolated linearly over 1/T between pairs, and goes on beyond the ends.
struct ThermistorTable {
  struct Point {
    Celsius temperature;
    Ohms resistance;
  };
  std::vector<Point> points;
  Ohms resistance(Celsius temperature) const;
  Celsius temperature(Ohms resistance) const;
};

using ThermistorModel = std::variant<SteinhartHart, BetaModel, ThermistorTable, Platinum>;

/// A temperature sensor as the controller sees it: V = rail * R / (R + pull_up), the sensor going to ground.
struct TemperatureCurve {
  ThermistorModel model;
  Ohms pull_up{2200.0};
  Ohms resistance(Celsius temperature) const;
  Volts volts(Celsius temperature, Volts rail) const;
  /// REQUIRES: 0 < volts < rail.
  Celsius temperature(Volts volts, Volts rail) const;
  /// |dT/dV| in kelvin per volt.
  double kelvins_per_volt(Celsius temperature, Volts rail) const;
};

}  // namespace rig
