#include "rig/core/quantity_text.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <span>
#include <vector>

#include "rig/core/nearest_word.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

/// value in the kind's own unit = number * times / over: both whole where they can be, so that 2310 mV is exactly 2.31
/// V.
struct Unit {
  std::string_view name;
  double times = 1;
  double over = 1;
};
struct Kind {
  std::string_view name;  ///< with its article
  std::string_view example;
  std::span<const Unit> units;
};

constexpr Unit kVolts[] = {{"V"}, {"mV", 1, 1000}};
constexpr Unit kAmperes[] = {{"A"}, {"mA", 1, 1000}, {"uA", 1, 1e6}, {"nA", 1, 1e9}};
constexpr Unit kOhms[] = {{"ohm"}, {"kohm", 1000}, {"Mohm", 1e6}};
// 1 psi = 6894.757293168361 Pa: a pound-force (4.4482216152605 N, exact) on a square inch (25.4 mm, exact).
constexpr Unit kPressures[] = {{"kPa"}, {"bar", 100}, {"mbar", 1, 10}, {"hPa", 1, 10}, {"psi", 6.894757293168361}};
constexpr Unit kRpm[] = {{"rpm"}};
constexpr Unit kRpmPerSecond[] = {{"rpm/s"}};
constexpr Unit kCrankDegrees[] = {{"deg"}};
constexpr Unit kCelsius[] = {{"degC"}};
constexpr Unit kKelvins[] = {{"K"}};
constexpr Unit kHertz[] = {{"Hz"}, {"kHz", 1000}, {"MHz", 1e6}};
constexpr Unit kTimes[] = {{"ns"}, {"us", 1e3}, {"ms", 1e6}, {"s", 1e9}, {"min", 60e9}, {"h", 3600e9}};

constexpr Kind kVoltage{"a voltage", "13.8 V", kVolts};
constexpr Kind kCurrent{"a current", "60 mA", kAmperes};
constexpr Kind kResistance{"a resistance", "2.2 kohm", kOhms};
constexpr Kind kPressure{"a pressure", "180 kPa", kPressures};
constexpr Kind kSpeed{"a speed", "3500 rpm", kRpm};
constexpr Kind kAcceleration{"an acceleration", "5000 rpm/s", kRpmPerSecond};
constexpr Kind kAngle{"an angle", "90 deg", kCrankDegrees};
constexpr Kind kTemperature{"a temperature", "60 degC", kCelsius};
constexpr Kind kDifference{"a temperature difference", "1.5 K", kKelvins};
constexpr Kind kRate{"a rate", "1 kHz", kHertz};
constexpr Kind kTime{"a time", "20 ms", kTimes};
constexpr const Kind* kAllKinds[] = {&kVoltage, &kCurrent, &kResistance,  &kPressure,   &kSpeed, &kAcceleration,
                                     &kAngle,   &kTime,    &kTemperature, &kDifference, &kRate};

template <class Q>
constexpr const Kind& kKindOf = kVoltage;
template <>
constexpr const Kind& kKindOf<Amperes> = kCurrent;
template <>
constexpr const Kind& kKindOf<Ohms> = kResistance;
template <>
constexpr const Kind& kKindOf<Rpm> = kSpeed;
template <>
constexpr const Kind& kKindOf<RpmPerSecond> = kAcceleration;
template <>
constexpr const Kind& kKindOf<CrankDegrees> = kAngle;
template <>
constexpr const Kind& kKindOf<Celsius> = kTemperature;
template <>
constexpr const Kind& kKindOf<Kelvins> = kDifference;
template <>
constexpr const Kind& kKindOf<Hertz> = kRate;

bool digit(char c) { return c >= '0' && c <= '9'; }

std::string_view trimmed(std::string_view text) {
  while (!text.empty() && text.front() == ' ') text.remove_prefix(1);
  while (!text.empty() && text.back() == ' ') text.remove_suffix(1);
  return text;
}

/// What a person wrote, in quotes; cut short, with bytes that would upset a terminal replaced.
std::string quoted(std::string_view text) {
  std::string out{text.substr(0, 40)};
  for (char& c : out) {
    if (static_cast<unsigned char>(c) < 0x20 || c == 0x7f) c = '?';
  }
  return "'" + out + (text.size() > 40 ? "...'" : "'");
}

std::string units_of(const Kind& kind) {
  std::string list;
  for (std::size_t i = 0; i < kind.units.size(); ++i) {
    if (i > 0) list += i + 1 == kind.units.size() ? " or " : ", ";
    list += kind.units[i].name;
  }
  return list;
}

std::string write_as(std::string_view example) { return "Write it like " + quoted(example); }

/// Length of `sign? digits (. digits)? (e sign? digits)?` at the front of the text; 0 when there is none.
std::size_t number_length(std::string_view text) {
  std::size_t i = 0;
  const auto digits = [&] {
    const std::size_t from = i;
    while (i < text.size() && digit(text[i])) ++i;
    return i > from;
  };
  if (i < text.size() && (text[i] == '-' || text[i] == '+')) ++i;
  if (!digits()) return 0;
  if (i + 1 < text.size() && text[i] == '.' && digit(text[i + 1])) ++i, digits();
  if (i < text.size() && (text[i] == 'e' || text[i] == 'E')) {
    const std::size_t before = i++;
    if (i < text.size() && (text[i] == '-' || text[i] == '+')) ++i;
    if (!digits()) i = before;
  }
  return i;
}

struct Number {
  double value;
  std::string_view rest;  ///< what comes behind it, trimmed
};

/// The number a text begins with. `example` shows how such a text is written.
std::variant<Number, QuantityError> leading_number(std::string_view whole, std::string_view example) {
  const std::string_view text = trimmed(whole);
  const std::string shown = quoted(whole);
  const std::size_t length = number_length(text);
  if (length == 0) return QuantityError{shown + " does not begin with a number", write_as(example)};
  std::string_view number = text.substr(0, length);
  const std::string_view rest = text.substr(length);
  const std::size_t first = number.front() == '-' || number.front() == '+' ? 1 : 0;
  if (number.size() > first + 1 && number[first] == '0' && digit(number[first + 1])) {
    return QuantityError{shown + " has a leading zero, which could be meant as octal", "Leave the zero out"};
  }
  if (!rest.empty() && (rest.front() == 'x' || rest.front() == 'X')) {
    return QuantityError{shown + " looks like a hexadecimal number", "Write it as a decimal number"};
  }
  if (rest.size() > 1 && rest.front() == ',' && digit(rest[1])) {
    return QuantityError{shown + " has a comma in its number", "Write the decimal point as '.', and no separators"};
  }
  if (!rest.empty() && (rest.front() == '.' || rest.front() == '_' || rest.front() == ',')) {
    return QuantityError{shown + ": the number does not end where its digits do", write_as(example)};
  }
  if (number.front() == '+') number.remove_prefix(1);
  double value = 0;
  const auto read = std::from_chars(number.data(), number.data() + number.size(), value);
  if (read.ec != std::errc{} || !std::isfinite(value)) {
    return QuantityError{shown + ": the number is too large or too small", "Check its digits and its exponent"};
  }
  return Number{value, trimmed(rest)};
}

const Unit* find_unit(const Kind& kind, std::string_view name) {
  const auto found = std::find_if(kind.units.begin(), kind.units.end(), [&](const Unit& u) { return u.name == name; });
  return found == kind.units.end() ? nullptr : &*found;
}

/// `name` is no unit of this kind: says whose it is, or which one was probably meant.
QuantityError wrong_unit(std::string_view whole, std::string_view name, const Kind& kind) {
  if (name.empty()) {
    return {quoted(whole) + ": " + std::string{kind.name} + " needs its unit",
            "Add " + units_of(kind) + ", as in " + quoted(kind.example)};
  }
  for (const Kind* other : kAllKinds) {
    if (find_unit(*other, name)) {
      return {quoted(whole) + ": " + quoted(name) + " is the unit of " + std::string{other->name} + ", not of " +
                  std::string{kind.name},
              "Use " + units_of(kind)};
    }
  }
  std::vector<std::string_view> names;
  for (const Unit& unit : kind.units) names.push_back(unit.name);
  const auto nearest = nearest_word(name, names);
  return {quoted(whole) + ": no such unit as " + quoted(name),
          nearest ? "Did you mean '" + *nearest + "'?" : "Use " + units_of(kind)};
}

/// The number in the kind's own unit.
Parsed<double> parse_as(std::string_view whole, const Kind& kind) {
  const auto number = leading_number(whole, kind.example);
  if (const auto* error = std::get_if<QuantityError>(&number)) return *error;
  const auto& [value, name] = std::get<Number>(number);
  const Unit* unit = find_unit(kind, name);
  if (!unit) return wrong_unit(whole, name, kind);
  const double scaled = value * unit->times / unit->over;
  if (!std::isfinite(scaled)) return QuantityError{quoted(whole) + " is too large", "Check its digits"};
  return scaled;
}

template <class Q>
Parsed<Q> parse_plain(std::string_view text, const Kind& kind) {
  const auto parsed = parse_as(text, kind);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) return *error;
  return Q{std::get<double>(parsed)};
}

/// Takes a last word `abs` or `gauge` off the text.
std::string_view take_reference(std::string_view& text) {
  text = trimmed(text);
  const std::size_t space = text.rfind(' ');
  if (space == std::string_view::npos) return {};
  const std::string_view last = text.substr(space + 1);
  if (last != "abs" && last != "gauge") return {};
  text = trimmed(text.substr(0, space));
  return last;
}

std::string with_unit(double value, int decimals, std::string_view unit) {
  return number_text(value, decimals) + ' ' + std::string{unit};
}

}  // namespace

template <class Q>
Parsed<Q> parse_quantity(std::string_view text) {
  return parse_plain<Q>(text, kKindOf<Q>);
}

template <>
Parsed<Kilopascals> parse_quantity(std::string_view text) {
  return parse_pressure(text, std::nullopt);
}

template <>
Parsed<Nanoseconds> parse_quantity(std::string_view text) {
  const auto parsed = parse_as(text, kTime);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) return *error;
  const double ns = std::get<double>(parsed);
  if (std::abs(ns) > 9e18) return QuantityError{quoted(text) + " is longer than 285 years", "Check its unit"};
  return Nanoseconds{std::llround(ns)};
}

template Parsed<Volts> parse_quantity(std::string_view);
template Parsed<Amperes> parse_quantity(std::string_view);
template Parsed<Ohms> parse_quantity(std::string_view);
template Parsed<Rpm> parse_quantity(std::string_view);
template Parsed<RpmPerSecond> parse_quantity(std::string_view);
template Parsed<CrankDegrees> parse_quantity(std::string_view);
template Parsed<Celsius> parse_quantity(std::string_view);
template Parsed<Kelvins> parse_quantity(std::string_view);
template Parsed<Hertz> parse_quantity(std::string_view);

Parsed<Kilopascals> parse_pressure(std::string_view text, std::optional<Kilopascals> ambient) {
  std::string_view rest = text;
  const std::string_view reference = take_reference(rest);
  const auto parsed = parse_as(rest, kPressure);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) return *error;
  const Kilopascals pressure{std::get<double>(parsed)};
  if (reference == "abs") return pressure;
  if (reference == "gauge") {
    if (ambient) return pressure + *ambient;
    return QuantityError{quoted(text) + ": a gauge pressure says nothing without the ambient pressure",
                         "Write the absolute pressure, as in '180 kPa'"};
  }
  if (rest.ends_with("kPa")) return pressure;
  return QuantityError{quoted(text) + " does not say whether it is absolute or gauge",
                       "Write it in kPa (absolute), or add 'abs' or 'gauge'"};
}

Parsed<double> parse_number(std::string_view text) {
  const auto number = leading_number(text, "1.5");
  if (const auto* error = std::get_if<QuantityError>(&number)) return *error;
  const auto& [value, rest] = std::get<Number>(number);
  if (rest.empty()) return value;
  return QuantityError{quoted(text) + ": nothing may follow the number here", "Take " + quoted(rest) + " away"};
}

std::string to_text(Volts value, int decimals) { return with_unit(value.value(), decimals, "V"); }
std::string to_text(Amperes value, int decimals) { return with_unit(value.value(), decimals, "A"); }
std::string to_text(Kilopascals value, int decimals) { return with_unit(value.value(), decimals, "kPa"); }
std::string to_text(Rpm value, int decimals) { return with_unit(value.value(), decimals, "rpm"); }
std::string to_text(RpmPerSecond value, int decimals) { return with_unit(value.value(), decimals, "rpm/s"); }
std::string to_text(CrankDegrees value, int decimals) { return with_unit(value.value(), decimals, "deg"); }
std::string to_text(Celsius value, int decimals) { return with_unit(value.value(), decimals, "degC"); }
std::string to_text(Kelvins value, int decimals) { return with_unit(value.value(), decimals, "K"); }
std::string to_text(Hertz value, int decimals) { return with_unit(value.value(), decimals, "Hz"); }

std::string to_text(Ohms value, int decimals) {
  const double size = std::abs(value.value());
  if (size >= 1e6) return with_unit(value.value() / 1e6, decimals, "Mohm");
  if (size >= 1e3) return with_unit(value.value() / 1e3, decimals, "kohm");
  return with_unit(value.value(), decimals, "ohm");
}

std::string to_text(Nanoseconds value, int decimals) {
  const auto ns = static_cast<double>(value.count());
  const double size = std::abs(ns);
  if (size >= 1e9) return with_unit(ns / 1e9, decimals, "s");
  if (size >= 1e6) return with_unit(ns / 1e6, decimals, "ms");
  if (size >= 1e3) return with_unit(ns / 1e3, decimals, "us");
  return with_unit(ns, 0, "ns");
}

}  // namespace rig
