#include "rig/compile/hold_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/expected.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/piece_means.hpp"
#include "rig/compile/pressure_course.hpp"
#include "rig/compile/running_module.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/compile/worst_of.hpp"
#include "rig/core/characteristic.hpp"
#include "rig/measure/excursions.hpp"
#include "rig/measure/periodogram.hpp"
#include "rig/measure/straight_fit.hpp"
#include "rig/measure/uncertainty.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kLongestPiece = 2s;
constexpr double kLowest = 0.5, kHighest = 200;  ///< Hz: where a limit cycle is looked for
constexpr double kChance = 1e-4;                 ///< of taking noise for one
constexpr std::size_t kFewestBins = 100;         ///< outside drop-outs, to say anything of noise and drift
constexpr double kAtItsTable = 2;  ///< kPa; further off a unit may not be working: what a sweep allows, and some room

/// What a reduction keeps of one channel in one piece.
struct Kept {
  double peak_to_peak = 0, rms = 0;                    ///< V
  double line = 0, frequency = 0, line_doubt = 0;      ///< V, Hz, V; 0 V: nothing above noise
  double drop_outs = 0, worst = 0, lasts = 0, at = 0;  ///< how many; V, ms and s from the piece's start, of the worst
  FitSums drift;                                       ///< output against the table, kPa over s
  static constexpr std::size_t kNumbers = 15;
  void write(std::vector<double>& into) const {
    into.insert(into.end(), {peak_to_peak, rms, line, frequency, line_doubt, drop_outs, worst, lasts, at, drift.n,
                             drift.t, drift.tt, drift.y, drift.ty, drift.yy});
  }
  static Kept read(const double* n) {
    return {n[0], n[1], n[2], n[3], n[4], n[5], n[6], n[7], n[8], {n[9], n[10], n[11], n[12], n[13], n[14]}};
  }
};

double median_of(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  return *middle;
}

class Hold final : public CompiledStep {
 public:
  Hold(const HoldSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()} {
    write(script);
  }
  std::string_view kind() const override { return "hold"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  /// What a segment is a piece of; those that only lead up to a hold have no point.
  struct Asked {
    std::optional<std::size_t> point;
    double later = 0;  ///< s, from the hold's start
  };
  void write(Script& script);
  Kept look(std::size_t point, std::size_t channel, const Readings& readings, const PressureCourse& course) const;
  std::string id(std::size_t point, std::size_t channel, std::string_view what) const;
  std::string words(std::size_t point, std::size_t channel) const;
  /// All that is owed of a channel at a point.
  void conclude_channel(std::size_t point, std::size_t channel, std::span<const Reduction> reductions,
                        std::vector<Finding>& findings) const;
  const Port& sense_out(std::size_t channel) const {
    return bench_.ports[index(bench_.wiring.line(product_.pressures[channel].name)->sense_out)];
  }

  HoldSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<std::vector<Kilopascals>> pressures_;  ///< per point
  std::vector<Asked> asked_;                         ///< one per segment
};

void Hold::write(Script& script) {
  for (const auto& at : spec_.points) {
    SweepSpec point;  // the sweep's rule for how the second pressure lies to the first
    point.speeds = {at.speed};
    point.pressures = {at.pressure};
    pressures_.push_back(sweep_points(product_, point).front().pressures);
  }
  start_module(segments_, script, spec_.points.front().speed, pressures_.front());
  asked_.resize(segments_.size());
  const auto pieces = (spec_.length + kLongestPiece - 1ns) / kLongestPiece;
  for (std::size_t p = 0; p < spec_.points.size(); ++p) {
    script.speed(spec_.points[p].speed);
    for (std::size_t c = 0; c < pressures_[p].size(); ++c) script.pressure(c, pressures_[p][c]);
    script.settle(segments_);
    asked_.push_back({});
    for (std::int64_t k = 0; k < pieces; ++k) {
      const auto length = spec_.length / pieces / 1ms * 1ms;
      script.hold(segments_, length);
      asked_.push_back({p, seconds(length) * static_cast<double>(k)});
    }
  }
}

std::string Hold::id(std::size_t point, std::size_t channel, std::string_view what) const {
  const auto& at = spec_.points[point];
  return to_text(Characteristic{
      name(), fmt::format("{}/{}", what, product_.pressures[channel].name), at.speed, at.pressure, {}, false});
}

std::string Hold::words(std::size_t point, std::size_t channel) const {
  return fmt::format("{} at {:g} rpm, {:g} kPa", product_.pressures[channel].name, spec_.points[point].speed.value(),
                     spec_.points[point].pressure.value());
}

Kept Hold::look(std::size_t point, std::size_t channel, const Readings& readings, const PressureCourse& course) const {
  std::vector<SignalBin> bins;
  std::vector<double> means;
  for (std::size_t b = 0; b < course.bins; ++b) {
    const auto bin = readings.bin(tracks_.pressures[channel].out, b);
    bins.push_back({bin.low, bin.high, bin.mean});
    means.push_back(bin.mean);
  }
  const double middle = median_of(means);
  const double period = seconds(readings.scales().tracks[index(tracks_.pressures[channel].out)].track.period);

  Kept kept;
  std::vector<bool> dropped(course.bins);
  for (const auto& drop : excursions(bins, middle, spec_.excursion.value())) {
    kept.drop_outs += 1;
    if (std::abs(drop.worst) > std::abs(kept.worst)) {
      kept.worst = drop.worst;
      kept.lasts = 1e3 * period * static_cast<double>(drop.bins);
      kept.at = period * static_cast<double>(drop.first);
    }
    // Its neighbours still come and go: they are no noise either.
    const auto from = dropped.begin() + static_cast<std::ptrdiff_t>(drop.first - std::min<std::size_t>(1, drop.first));
    std::fill(from, dropped.begin() + static_cast<std::ptrdiff_t>(std::min(course.bins, drop.first + drop.bins + 1)),
              true);
  }

  FitSums volts;
  double low = middle, high = middle;
  std::vector<Kilopascals> in(course.in.size());
  for (std::size_t b = 0; b < course.bins; ++b) {
    if (dropped[b]) continue;
    const double t = period * static_cast<double>(b);
    low = std::min(low, bins[b].low), high = std::max(high, bins[b].high);
    volts.take(t, means[b] - middle);
    for (std::size_t i = 0; i < in.size(); ++i) in[i] = Kilopascals{course.in[i][b]};
    const auto temperature = course.temperature.empty() ? std::nullopt : std::optional{Celsius{course.temperature[b]}};
    const auto table = expected_output(product_, channel, {spec_.points[point].speed, in, temperature});
    kept.drift.take(t, course.out[channel][b] - table.value());
  }
  kept.peak_to_peak = high - low;
  if (volts.n < kFewestBins) return kept;
  const auto fit = fit_of(volts);
  kept.rms = fit.scatter;
  std::vector<double> rest;
  for (std::size_t b = 0; b < course.bins; ++b)
    rest.push_back(dropped[b] ? 0.0 : means[b] - middle - fit.at(period * static_cast<double>(b)));
  if (const auto line = strongest_line(rest, period, kLowest, kHighest, kChance)) {
    kept.line_doubt = line->doubt;
    if (line->above_noise())
      kept.line = line->amplitude, kept.frequency = line->frequency;
    else
      kept.line_doubt = line->threshold;
  }
  return kept;
}

Judged Hold::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  if (!asked_[i].point) return judged;
  const Readings readings{bench_, slice, scales};
  const auto point = *asked_[i].point;
  auto& voided = judged.reduction.voided;
  voided = why_void(product_, tracks_, readings, spec_.points[point].speed);
  if (!voided.empty()) return judged;
  const auto course = pressure_course(product_, tracks_, readings);
  voided = course.voided;
  if (!voided.empty() || !course.unit_fault.empty()) return judged;  // no numbers: the unit's fault
  for (std::size_t c = 0; c < product_.pressures.size(); ++c)
    look(point, c, readings, course).write(judged.reduction.numbers);
  return judged;
}

void Hold::conclude_channel(std::size_t point, std::size_t channel, std::span<const Reduction> reductions,
                            std::vector<Finding>& findings) const {
  const auto named = [&](std::string_view what, const char* in) { return Named{id(point, channel, what), name(), in}; };
  const std::vector<Named> all{named("peak_to_peak", "V"), named("rms", "V"), named("drift", "kPa"),
                               named("limit_cycle", "V"), named("drop_outs", "")};
  Kept peak, rms, line, worst;
  FitSums drift;
  PieceMeans means;
  const auto first = findings.size();
  double drop_outs = 0;
  std::uint32_t peak_in = 0, rms_in = 0, line_in = 0, worst_in = 0;
  for (std::size_t i = 0; i < reductions.size(); ++i) {
    if (asked_[i].point != point) continue;
    const auto& reduction = reductions[i];
    if (!reduction.voided.empty() || reduction.numbers.empty()) {
      for (const auto& what : all) {
        auto finding = not_measured(what, reduction.voided, reduction.segment);
        findings.push_back(reduction.voided.empty() ? failed(finding, "a 5 V rail does not pass the module") : finding);
      }
      return;
    }
    const auto kept = Kept::read(&reduction.numbers[channel * Kept::kNumbers]);
    if (peak_in == 0 || kept.peak_to_peak > peak.peak_to_peak) peak = kept, peak_in = reduction.segment;
    if (rms_in == 0 || kept.rms > rms.rms) rms = kept, rms_in = reduction.segment;
    if (line_in == 0 || worse({kept.line, kept.line_doubt}, {line.line, line.line_doubt}, spec_.limit_cycle.value()))
      line = kept, line_in = reduction.segment;
    if (worst_in == 0 || std::abs(kept.worst) > std::abs(worst.worst))
      worst = kept, worst.at += asked_[i].later, worst_in = reduction.segment;
    drop_outs += kept.drop_outs;
    drift.join(kept.drift, asked_[i].later);
    if (kept.drift.n >= kFewestBins) means.take(kept.drift);
  }

  const auto where = words(point, channel);
  const double step = expanded(standard_of_two_steps(sense_out(channel).resolution));
  findings.push_back(
      measured(all[0], peak.peak_to_peak, {}, {std::nullopt, spec_.peak_to_peak.value()}, step, peak_in));
  findings.push_back(measured(all[1], rms.rms, {}, {std::nullopt, spec_.rms.value()}, step / 2, rms_in));

  if (drift.n < kFewestBins) {
    findings.push_back(failed(not_measured(all[2], {}, worst_in), fmt::format("{} drops out most of the time", where)));
  } else {
    const auto fit = fit_of(drift);
    const double length = seconds(spec_.length);
    const Candidate whole{std::abs(fit.slope) * length, fit.slope_doubt * length}, range = means.range();
    const bool wanders = worse(range, whole, spec_.drift.value());
    const double value = wanders ? (means.rises() ? range.value : -range.value) : fit.slope * length;
    auto drifts = measured(all[2], value, 0.0, Band::around(0, {spec_.drift.value(), 0}),
                           wanders ? range.doubt : whole.doubt, worst_in);
    if (drifts.verdict != Verdict::pass && wanders)
      drifts.reason = fmt::format("{} wanders by {:.2f} kPa against its table during the hold", where, range.value);
    findings.push_back(std::move(drifts));
  }

  auto cycle = measured(all[3], line.line, {}, {std::nullopt, spec_.limit_cycle.value()}, line.line_doubt, line_in);
  if (cycle.verdict != Verdict::pass)
    cycle.reason = line.line > 0 ? fmt::format("{} swings by {:.1f} mV either way, {:.1f} times a second", where,
                                               1e3 * line.line, line.frequency)
                                 : fmt::format("{} is too noisy to tell whether it swings", where);
  findings.push_back(std::move(cycle));

  auto drops = measured(all[4], drop_outs, {}, {std::nullopt, 0.0}, 0, worst_in);
  if (drops.verdict == Verdict::fail)
    drops.reason =
        fmt::format("{} leaves its place {:.0f} times, at worst by {:+.3f} V for {:.0f} ms, {:.3f} s into the hold",
                    where, drop_outs, worst.worst, worst.lasts, worst.at);
  findings.push_back(std::move(drops));

  // A unit that has fallen back passes its input through, and that is perfectly quiet.
  if (std::abs(means.furthest()) <= kAtItsTable) return;
  for (auto i = first; i < findings.size(); ++i) {
    if (findings[i].verdict != Verdict::pass) continue;
    findings[i].verdict = Verdict::undecided;
    findings[i].reason = fmt::format(
        "{} was not at its table but {:+.1f} kPa off it: whether it stands still while it "
        "works was not seen",
        where, means.furthest());
  }
}

std::vector<Finding> Hold::conclude(std::span<const Reduction> reductions) const {
  std::vector<Finding> findings;
  for (std::size_t p = 0; p < spec_.points.size(); ++p)
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) conclude_channel(p, c, reductions, findings);
  return findings;
}

std::vector<std::string> Hold::characteristics() const {
  std::vector<std::string> ids;
  for (std::size_t p = 0; p < spec_.points.size(); ++p)
    for (std::size_t c = 0; c < product_.pressures.size(); ++c)
      for (const auto* what : {"peak_to_peak", "rms", "drift", "limit_cycle", "drop_outs"})
        ids.push_back(id(p, c, what));
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_hold(const HoldSpec& spec, Script& script) {
  return std::make_unique<Hold>(spec, script);
}

}  // namespace rig
