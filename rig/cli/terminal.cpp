#include "rig/cli/terminal.hpp"

#include <cmath>
#include <cstdlib>

#include <unistd.h>

#include <fmt/format.h>

namespace rig {

bool is_terminal(int descriptor) { return isatty(descriptor) == 1; }

bool colour_on(int descriptor) {
  const char* no_colour = std::getenv("NO_COLOR");
  return is_terminal(descriptor) && !(no_colour && *no_colour);
}

std::string_view verdict_word(const RunClosed& closed) {
  if (closed.end == RunEnd::reseat) return "RE-SEAT";
  switch (closed.verdict) {
    case Verdict::pass:
      return "PASS";
    case Verdict::fail:
      return "FAIL";
    case Verdict::undecided:
      return "UNDECIDED";
    case Verdict::void_:
      break;
  }
  return "VOID";
}

std::string verdict_words(const RunClosed& closed, bool colour) {
  // Cyan and red stay apart for every kind of colour vision; word and shape tell the same without colour.
  const char* shape = "\u25cc";
  const char* shade = "\033[1m";
  if (closed.end == RunEnd::reseat) {
    shape = "\u21bb";
  } else if (closed.verdict == Verdict::pass) {
    shape = "\u25cf", shade = "\033[1;36m";
  } else if (closed.verdict == Verdict::fail) {
    shape = "\u25c6", shade = "\033[1;31m";
  } else if (closed.verdict == Verdict::undecided) {
    shape = "\u25d0";
  }
  const auto words = fmt::format("{} {}", shape, verdict_word(closed));
  return colour ? fmt::format("{}{}\033[0m", shade, words) : words;
}

std::string dim(std::string_view text, bool colour) {
  return colour ? fmt::format("\033[2m{}\033[0m", text) : std::string{text};
}

std::string digits_text(double value, std::string_view unit) {
  if (unit == "V" || unit == "A") return fmt::format("{:.4f}", value);
  if (unit == "kPa" || unit == "K") return fmt::format("{:.2f}", value);
  if (unit == "ms" || unit == "rpm") return fmt::format("{:.1f}", value);
  if (unit == "edges") return fmt::format("{:.0f}", value);
  return fmt::format("{:.4g}", value);
}

std::string value_text(double value, std::string_view unit) {
  return std::isfinite(value) ? fmt::format("{} {}", digits_text(value, unit), unit) : "-";
}

}  // namespace rig
