#pragma once

#include <chrono>
#include <compare>

namespace rig {

/// A number that knows what it measures. One unit per quantity inside (the alias says which); other units end at the
/// file reader and begin at the printer (quantity_text.hpp). Quantities of different kinds do not mix.
template <class Tag>
class Quantity {
 public:
  constexpr Quantity() = default;
  constexpr explicit Quantity(double value) : value_{value} {}
  /// The bare number, for arithmetic inside a formula, for printing and for storage; nowhere else.
  constexpr double value() const { return value_; }

  friend constexpr auto operator<=>(Quantity, Quantity) = default;
  friend constexpr Quantity operator+(Quantity a, Quantity b) { return Quantity{a.value_ + b.value_}; }
  friend constexpr Quantity operator-(Quantity a, Quantity b) { return Quantity{a.value_ - b.value_}; }
  friend constexpr Quantity operator-(Quantity a) { return Quantity{-a.value_}; }
  friend constexpr Quantity operator*(Quantity a, double factor) { return Quantity{a.value_ * factor}; }
  friend constexpr Quantity operator*(double factor, Quantity a) { return Quantity{a.value_ * factor}; }
  friend constexpr Quantity operator/(Quantity a, double divisor) { return Quantity{a.value_ / divisor}; }
  friend constexpr double operator/(Quantity a, Quantity b) { return a.value_ / b.value_; }  ///< a ratio has no unit
  constexpr Quantity& operator+=(Quantity b) { return value_ += b.value_, *this; }
  constexpr Quantity& operator-=(Quantity b) { return value_ -= b.value_, *this; }

 private:
  double value_ = 0;
};

using Volts = Quantity<struct VoltsTag>;
using Amperes = Quantity<struct AmperesTag>;
using Ohms = Quantity<struct OhmsTag>;
using Kilopascals = Quantity<struct KilopascalsTag>;  ///< always absolute, never gauge; also a difference of two
using Rpm = Quantity<struct RpmTag>;                  ///< crankshaft speed
using RpmPerSecond = Quantity<struct RpmPerSecondTag>;
using CrankDegrees = Quantity<struct CrankDegreesTag>;
using Hertz = Quantity<struct HertzTag>;      ///< a rate of readings
using Kelvins = Quantity<struct KelvinsTag>;  ///< a difference of temperatures

/// A temperature is a point, not an amount: two of them differ by kelvins and cannot be added.
class Celsius {
 public:
  constexpr Celsius() = default;
  constexpr explicit Celsius(double value) : value_{value} {}
  constexpr double value() const { return value_; }
  friend constexpr auto operator<=>(Celsius, Celsius) = default;
  friend constexpr Kelvins operator-(Celsius a, Celsius b) { return Kelvins{a.value_ - b.value_}; }
  friend constexpr Celsius operator+(Celsius a, Kelvins b) { return Celsius{a.value_ + b.value()}; }
  friend constexpr Celsius operator-(Celsius a, Kelvins b) { return Celsius{a.value_ - b.value()}; }

 private:
  double value_ = 0;
};

constexpr double kZeroCelsiusInKelvin = 273.15;  ///< the SI definition of the degree Celsius

using Nanoseconds = std::chrono::nanoseconds;  ///< a duration

/// An instant on a bench's own clock, counted from the start of the session that is being played. It is no wall-clock
/// time and cannot be mixed up with one.
class BenchTime {
 public:
  constexpr BenchTime() = default;
  constexpr explicit BenchTime(Nanoseconds since_start) : since_start_{since_start} {}
  constexpr Nanoseconds since_start() const { return since_start_; }
  friend constexpr auto operator<=>(BenchTime, BenchTime) = default;
  friend constexpr Nanoseconds operator-(BenchTime a, BenchTime b) { return a.since_start_ - b.since_start_; }
  friend constexpr BenchTime operator+(BenchTime a, Nanoseconds d) { return BenchTime{a.since_start_ + d}; }
  friend constexpr BenchTime operator-(BenchTime a, Nanoseconds d) { return BenchTime{a.since_start_ - d}; }

 private:
  Nanoseconds since_start_{0};
};

/// Seconds as a double, for use inside a formula only.
constexpr double seconds(Nanoseconds d) { return std::chrono::duration<double>(d).count(); }

constexpr double product_watts(Volts v, Amperes i) { return v.value() * i.value(); }
constexpr Volts drop(Amperes i, Ohms r) { return Volts{i.value() * r.value()}; }  ///< Ohm's law

}  // namespace rig
