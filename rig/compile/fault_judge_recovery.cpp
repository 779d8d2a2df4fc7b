#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/fault_findings.hpp"
#include "rig/compile/fault_judge.hpp"
#include "rig/measure/reaction.hpp"
#include "rig/measure/uncertainty.hpp"

/// What an output does once a fault has gone, or power has been cycled.
namespace rig {
namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
constexpr double kShareOfRamp =
    0.4;  ///< of ramp_in: a straight line takes 0.8 of it from a tenth to nine tenths; half that
constexpr std::size_t kSettled = 5;  ///< bins after a fault's end in which its own wire may still be on its way

/// The last bin after a fault for which the table cannot be told.
std::optional<std::size_t> last_untold(const LineCourse& line, const Moment& gone, double bin) {
  const auto first = static_cast<std::size_t>(std::max(0.0, gone.at + gone.half_width) / bin) + kSettled;
  for (std::size_t b = line.untold.size(); b > first; --b)
    if (line.untold[b - 1] != Untold::no) return b - 1;
  return std::nullopt;
}

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
  auto still = one_;  // power comes back at the case's own point
  still.during.reset();
  const auto course = read_course(product_, tracks_, readings, still, times, spec_.temperature);
  for (std::size_t c = 0; c < product_.pressures.size(); ++c)
    findings.push_back(course.lines[c].out.empty()
                           ? not_measured(named("recovery", product_.pressures[c].name, "ms"), "no readings", segment)
                           : judge_recovery(c, course, {seconds(from), 0, {}, {}}, segment));
  return findings;
}

Finding FaultJudge::untold(Named what, std::size_t c, Untold why, std::uint32_t segment) const {
  const auto& name = product_.pressures[c].name;
  switch (why) {
    case Untold::controller_rail:
      return not_measured(std::move(what),
                          fmt::format("a 5 V rail that {} depends on is away on the controller's side: check the "
                                      "bench's supply and its wiring",
                                      name),
                          segment);
    case Untold::sensor_rail:
      return undecided(
          std::move(what),
          fmt::format("what the table says of {} cannot be told: a 5 V rail is away on the sensors' side", name),
          segment);
    default:
      return undecided(std::move(what),
                       fmt::format("what the table says of {} cannot be told: its input, or the one that indexes its "
                                   "table, is beyond its diagnostic rails",
                                   name),
                       segment);
  }
}

Finding FaultJudge::judge_recovery(std::size_t c, const FaultCourse& course, const Moment& gone,
                                   std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const double room = volts_of(channel, Kilopascals{spec_.band.absolute}, line.in.back().mean);
  std::vector<double> means, low = line.table.low, high = line.table.high;
  for (const auto& bin : line.out) means.push_back(bin.mean);
  low.resize(means.size(), kInf), high.resize(means.size(), -kInf);
  for (std::size_t b = 0; b < means.size(); ++b) {
    const bool told = b < line.untold.size() && line.untold[b] == Untold::no;
    low[b] = told ? low[b] - room : kInf, high[b] = told ? high[b] + room : -kInf;
  }
  const auto arrived = arrival({means, course.bin}, {low, high}, gone.at);
  const auto what = named("recovery", channel.name, "ms");
  const double limit = ms(seconds(one_.owed.recovery.within));
  const double value = arrived ? arrived->at + (arrived->half_width > 0 ? course.bin / 2 : 0) - gone.at
                               : static_cast<double>(line.out.size()) * course.bin - gone.at;
  const double standard = std::hypot(moment_doubt(gone, c), standard_of_rectangular(course.bin));
  auto finding = measured(what, ms(std::max(0.0, value)), {}, {std::nullopt, limit}, ms(expanded(standard)), segment);
  if (const auto last = last_untold(line, gone, course.bin); last && (!arrived || finding.verdict != Verdict::pass)) {
    // Whoever has had all of the time since the table could be told again is judged by that.
    const double since = static_cast<double>(*last + 1) * course.bin - gone.at;
    if (ms(value - since) <= limit) return untold(what, c, line.untold[*last], segment);
  }
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
    if (line.untold[b] != Untold::no) return std::nan("");
    const double whole = line.in[b].mean - (line.table.low[b] + line.table.high[b]) / 2;
    return whole > 0.02 ? (line.in[b].mean - line.out[b].mean) / whole : std::nan("");
  };
  // From the last bin where nothing of the shift is there to the first that has it whole; noise later on is no ramp.
  const auto first = static_cast<std::size_t>(std::max(0.0, gone.at / course.bin)) + 5;
  const std::size_t bins = std::min(line.out.size(), line.untold.size());
  std::size_t from = bins;
  while (from > first && !(share(from - 1) <= 0.1)) --from;
  std::size_t whole = from;
  while (whole < bins && !(share(whole) >= 0.9)) ++whole;
  if (from <= first || whole >= bins)
    return undecided(what,
                     fmt::format("{} does not come back from nothing to its whole shift after {}: how it grows "
                                 "cannot be seen",
                                 channel.name, words()),
                     segment);
  const double grown = static_cast<double>(whole - from) * course.bin;
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
  const auto what = named("latched", channel.name, "V");
  if (from >= line.out.size())
    return not_measured(what, "nothing was recorded after the deadline: the fault is too short for it", segment);
  double worst = 0;
  for (std::size_t b = from; b < line.out.size(); ++b) {
    const double apart = line.out[b].mean - line.in[b].mean;
    if (std::abs(apart) > std::abs(worst)) worst = apart;
  }
  auto finding = measured(what, worst, 0.0, Band::around(0, spec_.through), level_doubt(c), segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} shifts again ({:+.3f} V) though {} should have latched until power is cycled",
                                 channel.name, worst, words());
  return finding;
}

}  // namespace rig
