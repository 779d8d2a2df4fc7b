#include "rig/cli/run_policy.hpp"

#include <algorithm>

#include <fmt/format.h>

#include "rig/cli/run_facts.hpp"
#include "rig/compile/fault_harm.hpp"

namespace rig {
namespace {

bool fits(char pattern, char c) {
  if (pattern == '#') return c >= '0' && c <= '9';
  if (pattern == '@') return c >= 'A' && c <= 'Z';
  return pattern == c;
}

std::string headline(const std::string& reason) { return reason.substr(0, reason.find("; ")); }

bool never_began(const RunClosed& closed) {
  return closed.end == RunEnd::fault && closed.bench_duration == Nanoseconds{0} && closed.counts.all() == 0;
}

}  // namespace

std::string serial_pattern_trouble(const std::string& pattern, std::string_view serial) {
  if (pattern.empty()) return {};
  bool good = pattern.size() == serial.size();
  for (std::size_t i = 0; good && i < serial.size(); ++i) good = fits(pattern[i], serial[i]);
  if (good) return {};
  std::string words;
  for (const char c : pattern)
    words += c == '#' ? "a digit, " : c == '@' ? "a capital letter, " : fmt::format("'{}', ", c);
  words.resize(words.size() - 2);
  return fmt::format(
      "the serial number '{}' is not one of this product ({}: {}). Scan the unit's label again, or name "
      "the scenario of the product that is fitted. Nothing was energised",
      serial, pattern, words);
}

std::string set_aside_trouble(const std::vector<StoredRun>& attempts) {
  std::vector<const StoredRun*> last;
  for (auto run = attempts.rbegin(); run != attempts.rend() && last.size() < 2; ++run) {
    if (run->opened.purpose != "end_of_line" || !run->closed || run->reseated() || never_began(*run->closed)) continue;
    if (run->closed->verdict != Verdict::void_) return {};
    last.push_back(&*run);
  }
  if (last.size() < 2) return {};
  return fmt::format(
      "unit {} is set aside: its last two end-of-line runs (run {} on bench '{}', run {} on bench '{}') were void, the "
      "last one because: {}. Find out why before it is run again, then say what was found with --after-void \"...\". "
      "Nothing was energised",
      last[0]->opened.serial, last[1]->number, last[1]->opened.bench, last[0]->number, last[0]->opened.bench,
      headline(last[0]->closed->reason));
}

std::string shift_start_trouble(const StoreReader& reader, const BenchSetup& bench, const Scenario& shift_start,
                                WallTime now) {
  const double hours = seconds(bench.shift_start_every) / 3600;
  std::string last = "never on this fixture";
  const auto runs = reader.runs_on(bench.name, kNewFixture);
  for (auto number = runs.rbegin(); number != runs.rend(); ++number) {
    const auto run = reader.load_run(*number);
    if (run.opened.scenario != shift_start.name || !run.closed || run.closed->verdict != Verdict::pass) continue;
    const auto age = now - run.opened.opened_at;
    if (age <= bench.shift_start_every) return {};
    last = fmt::format("run {}, {:.1f} h ago", run.number, std::chrono::duration<double>(age).count() / 3600);
    break;
  }
  return fmt::format(
      "bench '{}' has not passed its shift-start scenario within {:g} h (last passed: {}). Run it first: proofstand "
      "run "
      "{} --bench ... --unit (the plug's number). To go on without it, say why with --without-shift-start \"...\". "
      "Nothing was energised",
      bench.name, hours, last, bench.shift_start_scenario);
}

std::string stress_trouble(const Scenario& scenario, std::string_view serial) {
  if (!stresses(scenario)) return {};
  return fmt::format(
      "scenario '{}' stresses a unit: it may hurt it without showing at once. Unit {} would be {} (a passing "
      "end-of-line "
      "run). If that is meant, say so with --stress. Nothing was energised",
      scenario.name, serial, kNotForSale);
}

bool retest_due(const StoreReader& reader, std::string_view serial) {
  const auto attempts = reader.attempts_of(serial);
  for (auto run = attempts.rbegin(); run != attempts.rend(); ++run) {
    if (run->closed && run->closed->verdict == Verdict::pass && run->opened.purpose == "end_of_line") return false;
    if (run->closed && never_began(*run->closed)) continue;
    const auto events = reader.events(run->number);
    if (std::any_of(events.begin(), events.end(), [](const auto& event) { return event.kind == kStressEvent; }))
      return true;
  }
  return false;
}

}  // namespace rig
