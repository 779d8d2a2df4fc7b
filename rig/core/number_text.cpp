#include "rig/core/number_text.hpp"

#include <array>
#include <charconv>
#include <cmath>

namespace rig {
namespace {

// The longest double without an exponent has 309 digits before the point; below it 1074 after.
using Buffer = std::array<char, 1500>;

std::string not_finite(double value) { return std::isnan(value) ? "nan" : value > 0 ? "inf" : "-inf"; }

}  // namespace

std::string number_text(double value, int decimals) {
  if (!std::isfinite(value)) return not_finite(value);
  Buffer buffer;
  const auto done = std::to_chars(buffer.begin(), buffer.end(), value, std::chars_format::fixed, decimals);
  std::string text{buffer.begin(), done.ptr};
  if (text.find('.') != std::string::npos) {
    text.erase(text.find_last_not_of('0') + 1);
    if (text.back() == '.') text.pop_back();
  }
  return text == "-0" ? "0" : text;
}

std::string shortest_text(double value) {
  if (!std::isfinite(value)) return not_finite(value);
  if (value == 0) return "0";
  Buffer buffer;
  const auto done = std::to_chars(buffer.begin(), buffer.end(), value, std::chars_format::fixed);
  return {buffer.begin(), done.ptr};
}

}  // namespace rig
