#include "rig/compile/fault_judge.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/measure/reaction.hpp"
#include "rig/measure/uncertainty.hpp"

/// What becomes of a module once a fault has gone: back on its table, with a ramp, or not before power is cycled.
namespace rig {
namespace {

constexpr double kShareOfRamp =
    0.4;  ///< of ramp_in: a straight line takes 0.8 of it from a tenth to nine tenths; half of that

double ms(double seconds) { return 1e3 * seconds; }

}  // namespace

std::vector<Finding> FaultJudge::judge_restart(const Readings& readings, Nanoseconds from) const {
  const auto segment = readings.slice().record.id;
  std::vector<Finding> findings;
  if (const auto why = readings.trouble(); !why.empty()) {
    for (auto& one : restart_ids()) findings.push_back(not_measured({std::move(one), spec_.name, "ms"}, why, segment));
    return findings;
  }
  FaultTimes times;
  times.on = times.off = times.first = from;
  const auto course = read_course(product_, tracks_, readings, one_, times, spec_.temperature);
  for (std::size_t c = 0; c < product_.pressures.size(); ++c)
    findings.push_back(course.lines[c].out.empty()
                           ? not_measured(named("recovery", product_.pressures[c].name, "ms"), "no readings", segment)
                           : judge_recovery(c, course, {seconds(from), 0, {}, {}}, segment));
  return findings;
}

Finding FaultJudge::judge_recovery(std::size_t c, const FaultCourse& course, const Moment& gone,
                                   std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const double room = volts_of(channel, Kilopascals{spec_.band.absolute}, line.in.back().mean);
  std::vector<double> means, low = line.table.low, high = line.table.high;
  for (const auto& bin : line.out) means.push_back(bin.mean);
  for (auto& v : low) v -= room;
  for (auto& v : high) v += room;
  const auto arrived = arrival({means, course.bin}, {low, high}, gone.at);
  const auto what = named("recovery", channel.name, "ms");
  const double limit = ms(seconds(one_.owed.recovery.within));
  const double value = arrived ? arrived->at + (arrived->half_width > 0 ? course.bin / 2 : 0) - gone.at
                               : static_cast<double>(line.out.size()) * course.bin - gone.at;
  const double standard = std::hypot(moment_doubt(gone, c), standard_of_rectangular(course.bin));
  auto finding = measured(what, ms(std::max(0.0, value)), {}, {std::nullopt, limit}, ms(expanded(standard)), segment);
  if (!arrived || finding.verdict == Verdict::fail)
    return failed(std::move(finding), fmt::format("{} is not back on its table {:.0f} ms after {} has gone (due within "
                                                  "{:.0f} ms)",
                                                  channel.name, ms(value), words(), limit));
  return finding;
}

/// What a shift that comes back all at once does to a boost controller is what the module's ramp is for.
Finding FaultJudge::judge_ramp(std::size_t c, const FaultCourse& course, const Moment& gone,
                               std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const auto what = named("ramp_in", channel.name, "ms");
  const auto share = [&](std::size_t b) {
    const double whole = line.in[b].mean - (line.table.low[b] + line.table.high[b]) / 2;
    return whole > 0.02 ? (line.in[b].mean - line.out[b].mean) / whole : std::nan("");
  };
  // Backwards from the end, where all of the shift is there.
  const auto first = static_cast<std::size_t>(std::max(0.0, gone.at / course.bin)) + 5;
  std::size_t b = line.out.size();
  while (b > first && share(b - 1) > 0.9) --b;
  const std::size_t whole = b;
  while (b > first && share(b - 1) > 0.1) --b;
  if (whole == line.out.size() || b == first)
    return undecided(what,
                     fmt::format("{} does not come back from nothing to its whole shift after {}: how it grows "
                                 "cannot be seen",
                                 channel.name, words()),
                     segment);
  const double grown = static_cast<double>(whole - b) * course.bin;
  const double least = kShareOfRamp * seconds(product_.timing.ramp_in);
  auto finding = measured(what, ms(grown), {}, {ms(least), std::nullopt}, ms(1.155 * course.bin), segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("the shift of {} comes back within {:.0f} ms after {}; it must grow over {:.0f} ms",
                                 channel.name, ms(grown), words(), ms(seconds(product_.timing.ramp_in)));
  return finding;
}

Finding FaultJudge::judge_latched(std::size_t c, const FaultCourse& course, std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const auto from = static_cast<std::size_t>(
      std::ceil((seconds(times_.off + times_.travel) + seconds(times_.deadline)) / course.bin));
  double worst = 0;
  for (std::size_t b = from; b < line.out.size(); ++b) {
    const double apart = line.out[b].mean - line.in[b].mean;
    if (std::abs(apart) > std::abs(worst)) worst = apart;
  }
  auto finding = measured(named("latched", channel.name, "V"), worst, 0.0, Band::around(0, spec_.through),
                          level_doubt(c), segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} shifts again ({:+.3f} V) though {} should have latched until power is cycled",
                                 channel.name, worst, words());
  return finding;
}

}  // namespace rig
