#include "reports/verdict_mark.hpp"

namespace rig {

namespace {

// Drawn in a box of 100 by 100; currentColor is the verdict's colour.
std::string_view shape(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return R"(<circle cx="50" cy="50" r="46" fill="currentColor"/>)"
             R"(<path d="M27 52 L44 69 L74 34" fill="none" stroke="#fff" stroke-width="10" stroke-linecap="round" stroke-linejoin="round"/>)";
    case Verdict::fail:
      return R"(<path d="M50 2 L98 50 L50 98 L2 50 Z" fill="currentColor"/>)"
             R"(<path d="M35 35 L65 65 M65 35 L35 65" fill="none" stroke="#fff" stroke-width="10" stroke-linecap="round"/>)";
    case Verdict::undecided:
      return R"(<circle cx="50" cy="50" r="42" fill="none" stroke="currentColor" stroke-width="8"/>)"
             R"(<path d="M50 8 A42 42 0 0 0 50 92 Z" fill="currentColor"/>)";
    case Verdict::void_:
      break;
  }
  return R"(<circle cx="50" cy="50" r="42" fill="none" stroke="currentColor" stroke-width="8" stroke-dasharray="20 13"/>)"
         R"(<path d="M30 50 H70" fill="none" stroke="currentColor" stroke-width="8" stroke-linecap="round"/>)";
}

void write(Markup& page, Verdict verdict, std::string_view style) {
  page.open("svg", {{"class", style}, {"viewBox", "0 0 100 100"}, {"aria-hidden", "true"}}).raw(shape(verdict)).close();
}

}  // namespace

std::string_view verdict_class(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return "pass";
    case Verdict::fail:
      return "fail";
    case Verdict::undecided:
      return "undecided";
    case Verdict::void_:
      break;
  }
  return "void";
}

void write_mark(Markup& page, Verdict verdict) { write(page, verdict, "mark"); }
void write_small_mark(Markup& page, Verdict verdict) { write(page, verdict, "tick"); }

}  // namespace rig
