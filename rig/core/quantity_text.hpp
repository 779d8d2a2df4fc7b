#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>

#include "rig/core/quantity.hpp"

/// Quantities as people write them: a number and a unit ("13.8 V", "180 kPa", "20 ms", "3500 rpm", "60 degC").
namespace rig {

/// Why a text is not the quantity that was asked for; what and remedy go into a Complaint as they are.
struct QuantityError {
  std::string what;
  std::string remedy;
};
template <class Q>
using Parsed = std::variant<Q, QuantityError>;

/// Reads a number and a unit of Q's kind, with or without a space between them. Refused: a missing or unknown unit,
/// NaN, infinities, hexadecimal, leading zeros, decimal commas, anything beyond the double's range.
///   Volts V, mV | Amperes A, mA | Ohms ohm, kohm, Mohm | Rpm rpm | RpmPerSecond rpm/s | CrankDegrees deg |
///   Celsius degC | Kelvins K | Hertz Hz, kHz, MHz | Nanoseconds ns, us, ms, s, min (rounded to whole nanoseconds) |
///   Kilopascals kPa (absolute), or kPa, bar, mbar, hPa, psi with `abs` ("1.8 bar abs"); gauge needs parse_pressure
template <class Q>
Parsed<Q> parse_quantity(std::string_view text);
template <>
Parsed<Kilopascals> parse_quantity(std::string_view text);
template <>
Parsed<Nanoseconds> parse_quantity(std::string_view text);

/// As parse_quantity<Kilopascals>, and also gauge pressures ("0.8 bar gauge"), to which the ambient pressure is added.
Parsed<Kilopascals> parse_pressure(std::string_view text, std::optional<Kilopascals> ambient);

/// The bare number that comes before a unit of the caller's own ("%"): by the same rules, nothing behind it.
Parsed<double> parse_number(std::string_view text);

/// With unit, rounded to at most `decimals` places, zeros at the end cut off: "180 kPa", "2.31 V", "3500 rpm".
std::string to_text(Volts value, int decimals = 3);
std::string to_text(Amperes value, int decimals = 3);
std::string to_text(Ohms value, int decimals = 2);  ///< in ohm, kohm or Mohm, whichever fits
std::string to_text(Kilopascals value, int decimals = 1);
std::string to_text(Rpm value, int decimals = 0);
std::string to_text(RpmPerSecond value, int decimals = 0);
std::string to_text(CrankDegrees value, int decimals = 2);
std::string to_text(Celsius value, int decimals = 1);
std::string to_text(Kelvins value, int decimals = 2);
std::string to_text(Hertz value, int decimals = 1);
std::string to_text(Nanoseconds value, int decimals = 3);  ///< in ns, us, ms or s, whichever fits

}  // namespace rig
