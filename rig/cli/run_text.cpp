#include "rig/cli/run_text.hpp"

#include <algorithm>
#include <cmath>
#include <iostream>

#include <unistd.h>

#include <fmt/format.h>

#include "rig/cli/run_notes.hpp"
#include "rig/cli/run_policy.hpp"
#include "rig/cli/terminal.hpp"

namespace rig {
namespace {

constexpr Volts kSafeToTouch{0.5};

std::string band_text(const Finding& f) {
  if (f.low && f.high) return fmt::format("{} to {}", digits_text(*f.low, f.in), value_text(*f.high, f.in));
  if (f.high) return fmt::format("at most {}", value_text(*f.high, f.in));
  if (f.low) return fmt::format("at least {}", value_text(*f.low, f.in));
  return "";
}

void print_finding(const Finding& f) {
  std::cout << fmt::format("  {:<9} {:<58} {:>13}   {}\n", to_text(f.verdict), f.id, value_text(f.value, f.in),
                           band_text(f));
  if (!f.reason.empty()) std::cout << fmt::format("            {}\n", f.reason);
}

/// A verdict's reasons, one a line.
void print_reasons(std::string_view reasons) {
  while (!reasons.empty()) {
    const auto end = reasons.find("; ");
    std::cout << "  " << reasons.substr(0, end) << '\n';
    reasons.remove_prefix(end == std::string_view::npos ? reasons.size() : end + 2);
  }
}

/// Per step: how many findings, and how they ended.
void print_steps(std::span<const StoredFinding> findings, bool colour) {
  std::vector<std::pair<std::string, FindingCounts>> steps;
  for (const auto& stored : findings) {
    if (steps.empty() || steps.back().first != stored.finding.step) {
      const auto known =
          std::find_if(steps.begin(), steps.end(), [&](const auto& s) { return s.first == stored.finding.step; });
      if (known == steps.end()) steps.push_back({stored.finding.step, {}});
    }
    auto& counts =
        std::find_if(steps.begin(), steps.end(), [&](const auto& s) { return s.first == stored.finding.step; })->second;
    switch (stored.finding.verdict) {
      case Verdict::pass:
        ++counts.pass;
        break;
      case Verdict::fail:
        ++counts.fail;
        break;
      case Verdict::undecided:
        ++counts.undecided;
        break;
      case Verdict::void_:
        ++counts.void_;
        break;
    }
  }
  for (const auto& [step, counts] : steps) {
    auto line = fmt::format("  {:<20} {:>5} passed", step, counts.pass);
    if (counts.fail) line += fmt::format("  {:>5} failed", counts.fail);
    if (counts.undecided) line += fmt::format("  {:>5} undecided", counts.undecided);
    if (counts.void_) line += fmt::format("  {:>5} void", counts.void_);
    std::cout << (counts.pass == counts.all() ? dim(line, colour) : line) << '\n';
  }
}

std::string attempt_words(const StoredRun& run) {
  const auto again = run.reseats == 0   ? std::string{}
                     : run.reseats == 1 ? std::string{", 1 re-seat"}
                                        : fmt::format(", {} re-seats", run.reseats);
  return fmt::format("attempt {}{}", run.opened.attempt, again);
}

/// Whether a hand may go to the unit: only once its supply was read back.
std::string removal(const RunClosed& closed) {
  if (!closed.supply) return "the supply was not read back: do not touch the unit before you have measured it";
  if (!closed.outputs_safe || *closed.supply >= kSafeToTouch)
    return fmt::format("the supply still reads {:.2f} V: do not touch the unit", closed.supply->value());
  return fmt::format("remove the unit: its supply reads {:.2f} V", std::abs(closed.supply->value()));
}

}  // namespace

void print_run(const StoredRun& run, std::span<const StoredFinding> findings, std::span<const RunEvent> events,
               bool retest_due, bool all) {
  const bool colour = colour_on(STDOUT_FILENO);
  const auto& opened = run.opened;
  std::cout << fmt::format("unit {}   run {}, {}\n{} on {}, {}\n\n", opened.serial, run.number, attempt_words(run),
                           opened.scenario, opened.bench, to_text(opened.opened_at));
  if (run.closed) {
    const auto software = software_in_words(events);
    std::cout << "  " << verdict_words(*run.closed, colour) << (software.empty() ? "" : "   " + software) << "\n";
    print_reasons(run.closed->reason);
  } else {
    std::cout << "  not closed yet\n";
  }
  if (retest_due)
    std::cout << fmt::format("  unit {} is {}: it has been stressed, and no end-of-line run has passed since\n",
                             opened.serial, kNotForSale);
  for (const auto& line : other_events(events)) std::cout << "  " << line << '\n';
  std::cout << '\n';
  print_steps(findings, colour);
  constexpr std::size_t kMost = 20;
  std::size_t shown = 0, held_back = 0;
  for (const auto& stored : findings) {
    if (!all && stored.finding.verdict == Verdict::pass) continue;
    if (!all && shown >= kMost) {
      ++held_back;
      continue;
    }
    if (shown++ == 0) std::cout << '\n';
    print_finding(stored.finding);
  }
  if (held_back) std::cout << fmt::format("  and {} more: proofstand show {} --all\n", held_back, run.number);
  if (run.closed) {
    std::string warmth;
    for (const auto& [what, text] : noted(events, "surroundings")) warmth += fmt::format("; {} {}", what, text);
    std::cout << dim(fmt::format("\n  {:.1f} s of bench time; outputs {}safe{}\n", seconds(run.closed->bench_duration),
                                 run.closed->outputs_safe ? "" : "NOT CONFIRMED ", warmth),
                     colour)
              << "  " << removal(*run.closed) << '\n';
  }
}

}  // namespace rig
