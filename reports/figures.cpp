#include "reports/figures.hpp"

#include <fmt/core.h>

#include <array>
#include <cmath>
#include <utility>

namespace rig {

std::string figure(double value, int places) {
  if (!std::isfinite(value)) return "no value";
  std::string digits = fmt::format("{:.{}f}", std::abs(value), places);
  const bool zero = digits.find_first_not_of("0.") == std::string::npos;
  return value < 0 && !zero ? "\u2212" + digits : digits;
}

int places_for(std::string_view unit) {
  static constexpr std::array<std::pair<std::string_view, int>, 12> places{{
      {"kPa", 2},
      {"V", 4},
      {"mV", 1},
      {"A", 4},
      {"mA", 1},
      {"ms", 1},
      {"us", 1},
      {"rpm", 0},
      {"degC", 2},
      {"K", 2},
      {"ohm", 1},
      {"1", 0},
  }};
  for (const auto& [name, count] : places)
    if (name == unit) return count;
  return 4;
}

std::string with_unit(double value, std::string_view unit) {
  std::string text = figure(value, places_for(unit));
  if (std::isfinite(value) && !unit.empty() && unit != "1") text += " " + std::string{unit};
  return text;
}

std::string allowed(const Finding& finding) {
  const int places = places_for(finding.in);
  if (finding.low && finding.high) return figure(*finding.low, places) + " to " + figure(*finding.high, places);
  if (finding.high) return "at most " + figure(*finding.high, places);
  if (finding.low) return "at least " + figure(*finding.low, places);
  return "not limited";
}

std::optional<double> margin_share(const Finding& finding) {
  if (!finding.low || !finding.high || !finding.margin || !std::isfinite(*finding.margin)) return {};
  const double half = (*finding.high - *finding.low) / 2;
  if (!(half > 0)) return {};
  return *finding.margin / half;
}

std::string coordinate(double value) {
  std::string text = fmt::format("{:.1f}", value);
  if (text.ends_with(".0")) text.resize(text.size() - 2);
  return text == "-0" ? "0" : text;
}

}  // namespace rig
