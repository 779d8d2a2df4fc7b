#pragma once

#include <cmath>
#include <string>
#include <vector>

#include "tests/unit/reports/sample_run.hpp"

/// Strips of faults that never were. Numbers are invented and the same every time.
namespace sample {

struct FaultWish {
  std::string title, finding;
  rig::Verdict verdict = rig::Verdict::pass;
  double relay_ms = 17;  ///< from the fault to pass-through; beyond the picture: never
};

/// One manifold wire opened for 250 ms: its own output follows to the rail, the other one passes through.
inline rig::Strip fault_strip(const FaultWish& wish) {
  using rig::Nanoseconds;
  const auto ms = [](double value) { return Nanoseconds{std::llround(value * 1e6)}; };
  rig::Strip strip;
  strip.title = wish.title;
  strip.finding = wish.finding;
  strip.verdict = wish.verdict;
  strip.length = ms(400);
  const double onset = 22, removed = 272, back = removed + 60;
  rig::Strip::Signal own_in{"manifold_pressure, in", "V", true, {}, {}},
      own{"manifold_pressure, out", "V", false, {}, {}}, other_in{"charge_pressure, in", "V", true, {}, {}},
      other{"charge_pressure, out", "V", false, {}, {}}, speed{"speed", "rpm", true, {}, {}};
  const auto put = [](rig::Strip::Signal& signal, double value, double noise) {
    signal.low.push_back(value - noise), signal.high.push_back(value + noise);
  };
  for (int i = 0; i < 400; ++i) {
    const double noise = 0.004 + 0.003 * std::sin(i * 1.7);
    const bool open = i >= onset && i < removed, through = i >= onset + wish.relay_ms && i < back;
    const double shift = i < onset + wish.relay_ms ? 1 : i < back ? 0 : std::min(1.0, (i - back) / 60);
    put(own_in, open ? 4.93 : 3.08, noise);
    put(own, open ? 4.93 - 0.9 * std::exp(-(i - onset) / 4) : 3.08 - 0.45 * shift, noise);
    put(other_in, 3.15, noise);
    put(other, through && i < onset + wish.relay_ms + 2 ? 3.0 : 3.15 - 0.45 * shift, through ? noise : noise + 0.01);
    put(speed, 3500, 4);
  }
  strip.signals = {own_in, own, other_in, other, speed};
  strip.onset = ms(onset), strip.deadline = ms(onset + 50), strip.removed = ms(removed);
  strip.lanes = {{"manifold_pressure, out", *strip.deadline, *strip.removed, 4.8, 5.1},
                 {"charge_pressure, out", *strip.deadline, *strip.removed, 3.1, 3.2}};
  if (onset + wish.relay_ms < removed) {
    strip.arrived = ms(onset + wish.relay_ms);
    strip.uncertainty = ms(0.8);
  }
  return strip;
}

/// `faults` single faults, of which every twelfth comes too late.
inline rig::RunReport run_with_faults(int faults) {
  auto report = run(rig::Verdict::fail, {.silent = true});
  report.reason = "2 reactions came too late";
  rig::ReportStep step{
      "fault", "A wire broken, shorted or worn: what the unit does, by when, and how it comes back.", {}};
  for (int i = 0; i < faults; ++i) {
    const bool late = i % 12 == 5;
    FaultWish wish;
    wish.title =
        std::string{i % 2 ? "open, biased up: manifold_pressure, sensor's side" : "short_to_ground: charge_pressure"} +
        ", at " + std::to_string(1000 + 125 * i) + " rpm, " + std::to_string(100 + i) + " kPa";
    wish.finding = "fault/reaction_" + std::to_string(i);
    wish.relay_ms = late ? (i % 24 == 5 ? 900 : 71) : 14 + i % 7;
    auto finding = single(wish.finding, "fault", "ms", wish.relay_ms, {}, {}, 50.0, 0.8);
    if (late) finding.reason = "the output was not where it belongs by the deadline. Check the relay and its driver";
    wish.verdict = finding.verdict;
    report.findings.push_back(finding);
    step.strips.push_back(fault_strip(wish));
  }
  report.steps.push_back(std::move(step));
  return report;
}

}  // namespace sample
