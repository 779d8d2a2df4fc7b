#include "rig/compile/fault_judge.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/fault_findings.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/core/characteristic.hpp"
#include "rig/measure/reaction.hpp"
#include "rig/measure/uncertainty.hpp"

namespace rig {
namespace {

constexpr double kInf = std::numeric_limits<double>::infinity();
constexpr std::size_t kBinsBefore = 10;    ///< in which an output must be at its table before a fault
constexpr Nanoseconds kBefore{2'000'000};  ///< what is off a scale is told as of its bin's start, or the one before
/// s after a relay's travel: a reaction that is complete by then may have begun while the pin was still settling, and
/// have moved the pin itself.
constexpr double kStillMoving = 0.008;

std::string in_words(OutputMust must) {
  switch (must) {
    case OutputMust::pass_through:
      return "does not pass through";
    case OutputMust::follow_fault:
      return "does not follow its sensor beyond the diagnostic rail";
    case OutputMust::hold:
      return "does not stay where it was";
    case OutputMust::keep_table:
      return "is not what the table says";
    case OutputMust::stand_at:
      return "is not at its stated voltage";
  }
  return {};
}

}  // namespace

Finding FaultJudge::undecided(Named what, std::string reason, std::uint32_t segment) {
  auto finding = not_measured(std::move(what), std::move(reason), segment);
  finding.verdict = Verdict::undecided;
  return finding;
}

FaultJudge::FaultJudge(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const FaultSpec& spec,
                       const FaultCase& one)
    : product_{product},
      bench_{bench},
      tracks_{tracks},
      spec_{spec},
      one_{one},
      times_{times_of(product, bench, one)},
      own_{own_channels(product, one)},
      expected_{ports_of(product, bench, one).expected} {}

std::string FaultJudge::id(std::string_view what, std::string_view of) const {
  Characteristic characteristic;
  characteristic.step = spec_.name;
  characteristic.subject =
      fmt::format("{}/{}/{}{}{}", wire_text(one_), fault_text(one_), what, of.empty() ? "" : "/", of);
  characteristic.speed = one_.at.speed, characteristic.pressure = one_.at.pressure;
  return to_text(characteristic);
}

Named FaultJudge::named(std::string_view what, std::string_view of, std::string_view in) const {
  return {id(what, of), spec_.name, std::string{in}};
}

std::string FaultJudge::words() const {
  std::string text = wire_text(one_) + " " + std::string{to_text(one_.kind)};
  if (one_.end) text += *one_.end == OpenEnd::up ? ", drawn up" : *one_.end == OpenEnd::down ? ", drawn down" : "";
  if (one_.beyond) text += *one_.beyond == BeyondRail::low ? ", low" : ", high";
  if (one_.during) text += ", while speed and pressure change";
  return text;
}

bool FaultJudge::is_own(std::size_t channel) const {
  return std::find(own_.begin(), own_.end(), channel) != own_.end();
}

bool FaultJudge::forced(std::size_t channel) const {
  for (const auto& pin : {one_.pin, one_.joined_to.value_or(one_.pin)})
    if (pin.side == ConnectorSide::controller && pin.carries == product_.pressures[channel].name) return true;
  return false;
}

OutputReaction FaultJudge::must(std::size_t channel) const {
  return is_own(channel) ? one_.owed.own : one_.owed.others;
}

/// Whether the shift comes back from nothing: it then grows, but for one that only the speed had taken away.
bool FaultJudge::ramps() const {
  const bool speed = one_.pin.carries == "speed" || one_.kind == FaultKind::lost_edges ||
                     (one_.joined_to && one_.joined_to->carries == "speed");
  return product_.timing.ramp_in > Nanoseconds{0} && one_.owed.recovery.how == Recovering::by_itself && !speed &&
         times_.reaction_due();
}

std::vector<std::string> FaultJudge::ids() const {
  std::vector<std::string> ids;
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto& name = product_.pressures[c].name;
    const auto wanted = must(c).must;
    const bool away = wanted == OutputMust::pass_through || wanted == OutputMust::follow_fault;
    if (!forced(c)) {
      if (times_.reaction_due()) ids.push_back(id("reaction", name));
      if (owes_never_hidden(c)) ids.push_back(id("never_hidden", name));
      ids.push_back(id("spike", name));
    }
    if (one_.owed.recovery.how == Recovering::by_itself) ids.push_back(id("recovery", name));
    if (ramps() && away && !forced(c)) ids.push_back(id("ramp_in", name));
    if (one_.owed.recovery.how == Recovering::latched) ids.push_back(id("latched", name));
  }
  if (on_temperature()) ids.push_back(id("never_hidden", product_.temperature->name));
  return ids;
}

std::vector<std::string> FaultJudge::restart_ids() const {
  std::vector<std::string> ids;
  if (one_.owed.recovery.how != Recovering::latched) return ids;
  for (const auto& channel : product_.pressures) ids.push_back(id("recovery", channel.name));
  return ids;
}

/// A source at its limit, or a sense at the end of its range, on the very wire that is shorted is what was asked for.
std::string FaultJudge::trouble(const Readings& readings) const {
  return readings.trouble({expected_, times_.first - kBefore, times_.window_to});
}

/// A close look that breaks off early has not seen whether a reaction stays.
bool FaultJudge::looked_closely(const FaultCourse& course) const {
  const auto whole = [&](const CloseLook& look) {
    return !look.volts.empty() && look.start <= seconds(times_.on) &&
           look.at(look.volts.size() - 1) >= seconds(times_.off);
  };
  return std::all_of(course.lines.begin(), course.lines.end(), [&](const LineCourse& line) {
    return !line.in.empty() && whole(line.close_in) && whole(line.close_out);
  });
}

std::vector<Finding> FaultJudge::judge(const Readings& readings) const {
  const auto segment = readings.slice().record.id;
  std::vector<Finding> findings;
  const auto void_all = [&](const std::string& why) {
    for (auto& one : ids()) findings.push_back(not_measured({std::move(one), spec_.name, ""}, why, segment));
    return findings;
  };
  if (const auto why = trouble(readings); !why.empty()) return void_all(why);
  const auto course = read_course(product_, tracks_, readings, one_, times_, spec_.temperature);
  if (!looked_closely(course)) return void_all("the close look at the lines is not there, or not whole");
  const auto onset = find_onset(product_, tracks_, readings, one_, times_, course);
  if (!onset.came.voided.empty()) return void_all(onset.came.voided);
  const double seen_for = seconds(times_.off) - onset.came.at - onset.came.half_width;
  if (times_.reaction_due() && seen_for < seconds(times_.deadline))
    return void_all(
        fmt::format("{} was at the pin for {:.1f} ms, less than the deadline: too little was seen; let it "
                    "last longer",
                    words(), ms(seen_for)));
  // A program that stands still comes back by itself: what it owes counts from when it was made to.
  const auto& gone = one_.kind == FaultKind::hang ? onset.came : onset.gone;

  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto wanted = must(c).must;
    const bool away = wanted == OutputMust::pass_through || wanted == OutputMust::follow_fault;
    const auto first = static_cast<std::size_t>(seconds(times_.first) / course.bin);
    const auto why = course.lines[c].untold_in(first - std::min(first, kBinsBefore), first);
    const bool table = why == Untold::no && was_on_table(c, course);
    const auto seen = [&](std::string_view what, std::string_view in, auto&& judge_it) {
      auto name = named(what, product_.pressures[c].name, in);
      if (table) return findings.push_back(judge_it());
      if (why != Untold::no) return findings.push_back(untold(std::move(name), c, why, segment));
      findings.push_back(undecided(std::move(name),
                                   fmt::format("{} was not at its table before {} came: its reaction to that cannot "
                                               "be seen",
                                               product_.pressures[c].name, words()),
                                   segment));
    };
    const auto afterwards = [&](std::string_view what, std::string_view in, auto&& judge_it) {
      if (gone.voided.empty()) return judge_it();
      return not_measured(named(what, product_.pressures[c].name, in), gone.voided, segment);
    };
    if (!forced(c)) {
      if (times_.reaction_due()) seen("reaction", "ms", [&] { return judge_reaction(c, course, onset, segment); });
      if (owes_never_hidden(c)) findings.push_back(judge_hidden(c, course, onset, segment));
      findings.push_back(judge_spike(c, course, segment));
    }
    if (one_.owed.recovery.how == Recovering::by_itself)
      findings.push_back(afterwards("recovery", "ms", [&] { return judge_recovery(c, course, gone, segment); }));
    if (ramps() && away && !forced(c))
      seen("ramp_in", "ms",
           [&] { return afterwards("ramp_in", "ms", [&] { return judge_ramp(c, course, gone, segment); }); });
    if (one_.owed.recovery.how == Recovering::latched)
      seen("latched", "V",
           [&] { return afterwards("latched", "V", [&] { return judge_latched(c, course, segment); }); });
  }
  if (on_temperature()) findings.push_back(judge_hidden_temperature(readings, onset));
  return findings;
}

double FaultJudge::level_doubt(std::size_t c) const {
  const auto* line = bench_.wiring.line(product_.pressures[c].name);
  const double volts = product_.rails[product_.pressures[c].rail].nominal.value();
  return 1.155 * std::hypot(limit_of_error(bench_.ports[index(line->sense_in)], volts),
                            limit_of_error(bench_.ports[index(line->sense_out)], volts));  // 2 a/sqrt(3)
}

/// Standard uncertainty in seconds between a moment seen elsewhere and one seen on a channel's output, sampling apart:
/// what their senses may lie apart once their known delays are taken off, and what their filters do differently to a
/// fast edge and to a slow one.
double FaultJudge::moment_doubt(const Moment& moment, std::size_t c) const {
  const auto& out = bench_.ports[index(bench_.wiring.line(product_.pressures[c].name)->sense_out)];
  const auto of = [](Nanoseconds half_width) { return standard_of_rectangular(seconds(half_width)); };
  const auto sense = [&](const Port& port) { return std::hypot(of(port.skew_error), of(port.aperture) / 2); };
  double slower = seconds(out.settling);
  double squares = std::pow(sense(out), 2) + std::pow(standard_of_rectangular(moment.half_width), 2);
  if (moment.port) {
    const auto& in = bench_.ports[index(*moment.port)];
    squares += std::pow(sense(in), 2);
    slower = std::max(slower, seconds(in.settling));
  }
  return std::sqrt(squares + std::pow(standard_of_rectangular(slower), 2));
}

bool FaultJudge::was_on_table(std::size_t c, const FaultCourse& course) const {
  const auto& line = course.lines[c];
  const auto to = static_cast<std::size_t>(seconds(times_.first) / course.bin);
  for (std::size_t b = to - std::min(to, kBinsBefore); b < to && b < line.out.size(); ++b) {
    const double room =
        volts_of(product_.pressures[c], Kilopascals{spec_.band.absolute}, line.in[b].mean) + level_doubt(c);
    if (line.out[b].mean < line.table.low[b] - room || line.out[b].mean > line.table.high[b] + room) return false;
  }
  return true;
}

Corridor FaultJudge::belongs(std::size_t c, const FaultCourse& course, double grow) const {
  const auto& line = course.lines[c];
  const auto& channel = product_.pressures[c];
  const auto wanted = must(c);
  const std::size_t bins = line.out.size();
  const auto around = [&](const Corridor& where, double by) {
    Corridor corridor = where;
    for (auto& low : corridor.low) low -= by + grow;
    for (auto& high : corridor.high) high += by + grow;
    return corridor;
  };
  const auto flat = [&](double low, double high) {
    return Corridor{std::vector<double>(bins, low - grow), std::vector<double>(bins, high + grow)};
  };
  const double band = volts_of(channel, Kilopascals{spec_.band.absolute}, line.in.front().mean);
  switch (wanted.must) {
    case OutputMust::pass_through:
      return around(line.input, spec_.through.absolute);
    case OutputMust::keep_table:
      return around(line.table, band);
    case OutputMust::follow_fault:
      if (stands_beyond(channel, line, times_) == BeyondRail::high)
        return flat(channel.rails.high.value() * line.scale_out, kInf);
      return flat(-kInf, channel.rails.low.value() * line.scale_out);
    case OutputMust::hold: {
      const auto to = static_cast<std::size_t>(seconds(times_.first) / course.bin);
      const double before = to > 0 ? line.out[to - 1].mean : line.out.front().mean;
      return flat(before - band, before + band);
    }
    case OutputMust::stand_at:
      return flat(wanted.level->value() - spec_.through.absolute, wanted.level->value() + spec_.through.absolute);
  }
  return {};
}

namespace {

/// A corridor of bins, as limits of samples.
struct SampleLimits {
  std::vector<double> low, high;
  SampleLimits(const Corridor& corridor, const CloseLook& look, double bin) {
    for (std::size_t i = 0; i < look.volts.size(); ++i) {
      const auto b = static_cast<std::size_t>(std::max(0.0, look.at(i) / bin));
      low.push_back(corridor.low[std::min(b, corridor.low.size() - 1)]);
      high.push_back(corridor.high[std::min(b, corridor.high.size() - 1)]);
    }
  }
  MovingLimits limits() const { return {low, high}; }
};

}  // namespace

FaultJudge::Reaction FaultJudge::reaction(std::size_t c, const FaultCourse& course, const Moment& came) const {
  const auto look = course.lines[c].close_out.between(-kInf, seconds(times_.off));
  const auto arrive = [&](double grow) {
    const SampleLimits limits{belongs(c, course, grow), look, course.bin};
    return arrival({look.volts, look.period}, limits.limits(), came.at - look.start);
  };
  const double doubt = level_doubt(c);
  const auto middle = arrive(0), wide = arrive(doubt), narrow = arrive(-doubt);
  Reaction reaction;
  if (!wide) {
    reaction.ended = Reaction::Ended::never;
    reaction.ms = ms(seconds(times_.off) - came.at);
    return reaction;
  }
  if (!middle || !narrow) {
    reaction.ended = Reaction::Ended::doubtful;
    return reaction;
  }
  Moment counted = came;
  const double reacted = look.start + middle->at;
  if (came.earliest && reacted < seconds(times_.on + times_.travel) + kStillMoving) {
    counted.at = (*came.earliest + came.at) / 2;
    counted.half_width += (came.at - *came.earliest) / 2;
  }
  const double by_level = (narrow->at - wide->at) / 2;
  const double standard = std::hypot(std::hypot(moment_doubt(counted, c), standard_of_rectangular(middle->half_width)),
                                     standard_of_rectangular(by_level));
  reaction.ms = ms(std::max(0.0, reacted - counted.at));
  reaction.doubt_ms = ms(expanded(standard));
  return reaction;
}

Finding FaultJudge::judge_reaction(std::size_t c, const FaultCourse& course, const Onset& onset,
                                   std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto what = named("reaction", channel.name, "ms");
  const auto wanted = must(c);
  if (wanted.must == OutputMust::follow_fault && !stands_beyond(channel, course.lines[c], times_))
    return not_measured(
        what,
        fmt::format("{} leaves the pin at {:.2f} V, between its diagnostic rails: no sensor fault shows", words(),
                    course.lines[c].close_in.mean(seconds(times_.off) - 0.005, seconds(times_.off))),
        segment);
  if (wanted.must == OutputMust::keep_table) {
    const auto from = static_cast<std::size_t>((onset.came.at + onset.came.half_width) / course.bin) + 1;
    const auto why = course.lines[c].untold_in(from, static_cast<std::size_t>(seconds(times_.off) / course.bin));
    if (why != Untold::no) return untold(what, c, why, segment);
  }
  const auto taken = reaction(c, course, onset.came);
  if (taken.ended == Reaction::Ended::doubtful)
    return undecided(what,
                     fmt::format("{} ends so near the edge of where it belongs after {} that the bench cannot tell",
                                 channel.name, words()),
                     segment);
  const double limit = ms(seconds(times_.deadline));
  auto finding = measured(what, taken.ms, {}, {std::nullopt, limit}, taken.doubt_ms, segment);
  if (taken.ended == Reaction::Ended::never)
    return failed(std::move(finding), fmt::format("{} {} as long as {} is there ({:.0f} ms; due after {:.0f} ms)",
                                                  channel.name, in_words(wanted.must), words(), taken.ms, limit));
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} {} until {:.1f} ms after {} (due after {:.0f} ms)", channel.name,
                                 in_words(wanted.must), taken.ms, words(), limit);
  if (finding.verdict == Verdict::undecided)
    finding.reason = fmt::format("{} took {:.1f} ms +- {:.1f} ms after {}: too near to {:.0f} ms to be sure",
                                 channel.name, taken.ms, taken.doubt_ms, words(), limit);
  return finding;
}

/// Anywhere between input and table is on the way from one to the other; beyond both is a spike.
Finding FaultJudge::judge_spike(std::size_t c, const FaultCourse& course, std::uint32_t segment) const {
  const auto& channel = product_.pressures[c];
  const auto& line = course.lines[c];
  const double room =
      std::max(spec_.through.absolute, volts_of(channel, Kilopascals{spec_.band.absolute}, line.in.front().mean)) +
      level_doubt(c);
  Corridor may;
  for (std::size_t b = 0; b < line.out.size(); ++b) {
    double low = line.reach.low[b], high = line.reach.high[b];
    if (must(c).level) low = std::min(low, must(c).level->value()), high = std::max(high, must(c).level->value());
    may.low.push_back(low - room), may.high.push_back(high + room);
  }
  const auto& look = line.close_out;
  const SampleLimits close{may, look, course.bin};
  double longest = longest_outside({look.volts, look.period}, close.limits(), 0), doubt = look.period;
  // Out of the close look, by what every conversion of a bin was at most.
  const auto from = static_cast<std::size_t>(seconds(times_.window_from) / course.bin);
  const auto to = static_cast<std::size_t>(seconds(times_.window_to) / course.bin);
  double run = 0;
  for (std::size_t b = 0; b < line.out.size(); ++b) {
    const bool seen_closely = b >= from && b < to;
    const bool outside = !seen_closely && (line.out[b].low < may.low[b] || line.out[b].high > may.high[b]);
    run = outside ? run + course.bin : 0;
    if (run > longest) longest = run, doubt = course.bin / 2;
  }
  const double limit = ms(seconds(one_.owed.longest_spike));
  auto finding = measured(named("spike", channel.name, "ms"), ms(longest), {}, {std::nullopt, limit},
                          longest > 0 ? ms(1.155 * doubt) : 0, segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format(
        "{} is neither its input nor what the table says, nor between them, for {:.1f} ms "
        "around {} (allowed {:.1f} ms)",
        channel.name, ms(longest), words(), limit);
  return finding;
}

}  // namespace rig
