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

std::string verdict_words(Verdict verdict, bool colour) {
  // Blue and orange stay apart for every kind of colour vision; the shape tells the same without colour.
  const char* shape = "";
  const char* shade = "";
  switch (verdict) {
    case Verdict::pass:
      shape = "( ) PASS", shade = "\033[1;34m";
      break;
    case Verdict::fail:
      shape = "[X] FAIL", shade = "\033[1;38;5;208m";
      break;
    case Verdict::undecided:
      shape = "<?> UNDECIDED", shade = "\033[1m";
      break;
    case Verdict::void_:
      shape = "--- VOID", shade = "\033[1m";
      break;
  }
  return colour ? fmt::format("{}{}\033[0m", shade, shape) : shape;
}

std::string dim(std::string_view text, bool colour) {
  return colour ? fmt::format("\033[2m{}\033[0m", text) : std::string{text};
}

std::string value_text(double value, std::string_view unit) {
  if (!std::isfinite(value)) return "-";
  if (unit == "V" || unit == "A") return fmt::format("{:.4f} {}", value, unit);
  if (unit == "kPa" || unit == "K") return fmt::format("{:.2f} {}", value, unit);
  if (unit == "ms" || unit == "rpm") return fmt::format("{:.1f} {}", value, unit);
  if (unit == "edges") return fmt::format("{:.0f} {}", value, unit);
  return fmt::format("{:.4g} {}", value, unit);
}

}  // namespace rig
