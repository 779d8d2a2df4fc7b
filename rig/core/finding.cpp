#include "rig/core/finding.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "rig/core/number_text.hpp"

namespace rig {
namespace {

constexpr std::array<std::string_view, 4> kVerdicts{"pass", "undecided", "fail", "void"};

/// Decimals that show a width with two digits: 1.5 -> 1, 0.010 -> 3, 25 -> 0.
int decimals_for(double width) {
  if (!(width > 0) || !std::isfinite(width)) return 3;
  return std::clamp(1 - static_cast<int>(std::floor(std::log10(width))), 0, 9);
}

bool symmetric(const Finding& f) {
  if (!f.expected || !f.low || !f.high) return false;
  const double below = *f.expected - *f.low, above = *f.high - *f.expected;
  return above > 0 && std::abs(below - above) <= 1e-6 * above;
}

/// "3.1 kPa high, allowed +-1.5 kPa", or "0.31 A, allowed 0 to 0.2 A".
std::string reading(const Finding& f) {
  const std::string unit = f.in.empty() ? "" : ' ' + f.in;
  if (symmetric(f)) {
    const double off = f.value - *f.expected, allowed = *f.high - *f.expected;
    int decimals = decimals_for(allowed);
    // A reading just beyond the limit must not print as the limit itself.
    while (decimals < 9 && std::abs(off) != allowed &&
           number_text(std::abs(off), decimals) == number_text(allowed, decimals)) {
      ++decimals;
    }
    return number_text(std::abs(off), decimals) + unit + (off < 0 ? " low" : " high") + ", allowed +-" +
           number_text(allowed, decimals) + unit;
  }
  const double limit = f.low && f.high ? *f.high - *f.low : std::abs(f.low ? *f.low : *f.high);
  int decimals = decimals_for(limit) + 1;
  const auto shows_a_limit = [&](const std::optional<double>& l) {
    return l && *l != f.value && number_text(*l, decimals) == number_text(f.value, decimals);
  };
  while (decimals < 9 && (shows_a_limit(f.low) || shows_a_limit(f.high))) ++decimals;
  std::string text = number_text(f.value, decimals) + unit + ", allowed ";
  if (f.low && f.high) return text + number_text(*f.low, decimals) + " to " + number_text(*f.high, decimals) + unit;
  if (f.low) return text + "at least " + number_text(*f.low, decimals) + unit;
  return text + "at most " + number_text(*f.high, decimals) + unit;
}

/// Why nothing can be said, or nothing.
std::string obstacle(const Finding& f) {
  if (!std::isfinite(f.value)) return "was not measured";
  if (!f.low && !f.high) return "has no limits to be judged by";
  if ((f.low && !std::isfinite(*f.low)) || (f.high && !std::isfinite(*f.high))) return "has limits that are no numbers";
  if (f.low && f.high && *f.low > *f.high) return "has its limits the wrong way round";
  if (!std::isfinite(f.uncertainty) || f.uncertainty < 0) return "was measured with an unknown uncertainty";
  return {};
}

std::string doubt(const Finding& f) {
  const std::string uncertainty = number_text(f.uncertainty, decimals_for(f.uncertainty)) + ' ' + f.in;
  if (f.low && f.high && *f.high - *f.low < 2 * f.uncertainty) {
    return ", the measurement is only sure to +-" + uncertainty + ", too coarse for this band";
  }
  return ", too near the limit for a measurement sure to +-" + uncertainty;
}

}  // namespace

std::string_view to_text(Verdict verdict) { return kVerdicts[static_cast<std::size_t>(verdict)]; }

std::optional<Verdict> verdict_from_text(std::string_view text) {
  for (std::size_t i = 0; i < kVerdicts.size(); ++i) {
    if (kVerdicts[i] == text) return static_cast<Verdict>(i);
  }
  return std::nullopt;
}

Band Band::around(double expected, Tolerance tolerance) {
  const double half = std::max(tolerance.absolute, tolerance.relative * std::abs(expected));
  return {expected - half, expected + half};
}

void decide(Finding& finding) {
  finding.margin.reset();
  if (const std::string why = obstacle(finding); !why.empty()) {
    finding.verdict = Verdict::void_;
    if (finding.reason.empty()) finding.reason = why;
    return;
  }
  double margin = finding.low ? finding.value - *finding.low : *finding.high - finding.value;
  if (finding.high) margin = std::min(margin, *finding.high - finding.value);
  finding.margin = margin;
  if (margin >= finding.uncertainty) {
    finding.verdict = Verdict::pass;
    finding.reason.clear();
    return;
  }
  finding.verdict = margin < -finding.uncertainty ? Verdict::fail : Verdict::undecided;
  if (!finding.reason.empty()) return;
  finding.reason = "reads " + reading(finding);
  if (finding.verdict == Verdict::undecided) finding.reason += doubt(finding);
}

}  // namespace rig
