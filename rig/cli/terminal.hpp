#pragma once

#include <string>
#include <string_view>

#include "rig/store/records.hpp"

namespace rig {

/// Whether a stream may carry colour and moving lines: a terminal, and NO_COLOR not set.
bool colour_on(int descriptor);
bool is_terminal(int descriptor);

/// "PASS", "FAIL", "UNDECIDED", "VOID", "RE-SEAT".
std::string_view verdict_word(const RunClosed& closed);
/// The same with a shape of its own, so that it is told by word and shape before colour.
std::string verdict_words(const RunClosed& closed, bool colour);
std::string dim(std::string_view text, bool colour);

/// A value with digits that fit its unit ("183.42 kPa", "0.0123 V").
std::string value_text(double value, std::string_view unit);
/// The same without its unit.
std::string digits_text(double value, std::string_view unit);

}  // namespace rig
