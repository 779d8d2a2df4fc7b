#include "rig/compile/fault_strip.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kBefore = 20ms, kAfterwards = 80ms;  ///< what is shown around the fault
constexpr double kMostVolts = 6;                           ///< a lane without an end reaches to here

struct Shown {
  std::size_t first, last;  ///< bins
  double bin;
  Nanoseconds at(double seconds_in_segment) const {
    return Nanoseconds{std::llround((seconds_in_segment - static_cast<double>(first) * bin) * 1e9)};
  }
};

Strip::Signal signal_of(const std::string& name, const std::vector<EnvelopeBin>& bins, const Shown& shown, bool input) {
  Strip::Signal signal{name, "V", input, {}, {}};
  for (std::size_t b = shown.first; b < std::min(shown.last, bins.size()); ++b)
    signal.low.push_back(bins[b].low), signal.high.push_back(bins[b].high);
  return signal;
}

/// The finding that a fault's picture goes with: the worst of it, else its first reaction.
const Finding* shown_finding(const std::vector<Finding>& findings) {
  const Finding* shown = nullptr;
  for (const auto& finding : findings)
    if (!shown || static_cast<int>(finding.verdict) > static_cast<int>(shown->verdict)) shown = &finding;
  return shown;
}

}  // namespace

std::vector<Strip> strips_of(const FaultJudge& judge, const Product& product, const TrackMap& tracks,
                             const Readings& readings, Celsius intake) {
  const auto& times = judge.times();
  const auto course = read_course(product, tracks, readings, judge.fault(), times, intake);
  if (course.lines.empty() || course.lines.front().in.empty()) return {};
  const auto findings = judge.judge(readings);
  const auto* about = shown_finding(findings);
  if (!about) return {};
  const double from = std::max(0.0, seconds(times.on - kBefore));
  const double to = std::min(seconds(times.end), seconds(times.off + times.travel + kAfterwards));
  const Shown shown{static_cast<std::size_t>(from / course.bin), static_cast<std::size_t>(to / course.bin), course.bin};

  Strip strip;
  strip.title = fmt::format("{}, at {:g} rpm, {:g} kPa", judge.words(), judge.fault().at.speed.value(),
                            judge.fault().at.pressure.value());
  strip.finding = about->id;
  strip.verdict = about->verdict;
  strip.length = shown.at(static_cast<double>(shown.last) * course.bin);
  const auto onset = find_onset(product, tracks, readings, judge.fault(), times, course);
  const bool known = onset.came.voided.empty() && onset.gone.voided.empty();
  if (known) {
    strip.onset = shown.at(onset.came.at);
    strip.removed = shown.at(onset.gone.at);
    if (times.reaction_due()) strip.deadline = shown.at(onset.came.at + seconds(times.deadline));
  }
  for (std::size_t c = 0; c < course.lines.size(); ++c) {
    const auto& line = course.lines[c];
    const auto& name = product.pressures[c].name;
    strip.signals.push_back(signal_of(name + ", in", line.in, shown, true));
    strip.signals.push_back(signal_of(name + ", out", line.out, shown, false));
    if (!known || !times.reaction_due() || judge.forced(c)) continue;
    const auto corridor = judge.belongs(c, course, 0);
    const auto due = static_cast<std::size_t>((onset.came.at + seconds(times.deadline)) / course.bin);
    const auto until = static_cast<std::size_t>(onset.gone.at / course.bin);
    if (due >= until || until > corridor.low.size()) continue;
    double low = -kMostVolts, high = kMostVolts;  // narrowest over the stretch: what holds all along
    for (std::size_t b = due; b < until; ++b)
      low = std::max(low, corridor.low[b]), high = std::min(high, corridor.high[b]);
    strip.lanes.push_back(
        {name + ", out", *strip.deadline, *strip.removed, std::max(low, -0.2), std::min(high, kMostVolts)});
    // One that was never complete is told by its finding as lasting until the fault went: nothing arrived then.
    const bool complete = onset.came.at + about->value / 1e3 < seconds(times.off) - course.bin / 2;
    if (about->id == judge.id("reaction", name) && about->verdict != Verdict::void_ && complete) {
      strip.arrived = *strip.onset + Nanoseconds{std::llround(about->value * 1e6)};
      strip.uncertainty = Nanoseconds{std::llround(about->uncertainty * 1e6)};
    }
  }
  return {std::move(strip)};
}

}  // namespace rig
