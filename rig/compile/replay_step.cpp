#include "rig/compile/replay_step.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"
#include "rig/compile/replay_model.hpp"
#include "rig/compile/running_module.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/compile/worst_of.hpp"
#include "rig/measure/outside_run.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kPiece = 1500ms, kBin = 1ms;
constexpr double kSpeedAsked = 0.005;   ///< share by which the speed read may differ from the speed asked for
constexpr double kWorthDrawing = 0.75;  ///< of the band: nearer to it than this a segment's worst moment is drawn
constexpr Nanoseconds kAround = 250ms;  ///< ... so much before it and after it

/// The worst moment of one signal.
struct Worst {
  double outside = -std::numeric_limits<double>::infinity();  ///< kPa; negative: inside
  double doubt = 0;
  double at = 0, speed = 0, pressure = 0;  ///< s of the drive, rpm, kPa of the index pressure
  Candidate candidate() const { return {outside, doubt}; }
};

/// What a reduction keeps of one signal (a channel, or the difference of two) in one segment.
struct Kept {
  Worst worst;
  double squares = 0;  ///< of the distance outside, kPa
  OutsideRuns runs;    ///< beyond the band, in bins
  static constexpr std::size_t kNumbers = 10;
  void write(std::vector<double>& into) const {
    into.insert(into.end(), {worst.outside, worst.doubt, worst.at, worst.speed, worst.pressure, squares, runs.readings,
                             runs.leading, runs.trailing, runs.longest});
  }
  static Kept read(const double* n) { return {{n[0], n[1], n[2], n[3], n[4]}, n[5], {n[6], n[7], n[8], n[9]}}; }
};

/// Degrees between neighbouring falling edges of a wheel.
std::vector<double> falling_arcs(const Wheel& wheel) {
  std::vector<double> angles, arcs;
  for (const auto& edge : wheel.edges())
    if (!edge.rising) angles.push_back(static_cast<double>(edge.angle) / static_cast<double>(kFixedDegree));
  for (std::size_t i = 0; i < angles.size(); ++i)
    arcs.push_back(i + 1 < angles.size() ? angles[i + 1] - angles[i] : angles.front() + 720 - angles[i]);
  return arcs;
}

class Replay final : public CompiledStep {
 public:
  Replay(const ReplaySpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        played_{product_, spec.drive},
        arcs_{falling_arcs(product_.speed.wheel)} {
    write(script);
  }
  std::string_view kind() const override { return "replay"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;
  std::vector<Strip> strips(std::size_t i, const Slice& slice, const Scales& scales) const override;

 private:
  /// A stretch of the drive; segments before the first one lead up to it.
  struct Stretch {
    Nanoseconds from, to;
    std::vector<PlayedDrive::SpeedSpan> speeds;  ///< of each bin, history first
  };
  void write(Script& script);
  const Stretch* stretch(std::size_t i) const { return i < lead_in_ ? nullptr : &stretches_[i - lead_in_]; }
  std::size_t signals() const { return product_.pressures.size() + (product_.pressures.size() == 2 ? 1 : 0); }
  double band_of(std::size_t signal) const {
    return (signal < product_.pressures.size() ? spec_.band : spec_.agreement).value();
  }
  ReplayModel model(const Stretch& of, const PressureCourse& course) const {
    return {product_, bench_, played_, of.speeds, of.from, course};
  }
  /// What the finding about the worst moment is held to.
  double limit_of(std::size_t signal) const {
    return signal < product_.pressures.size() ? spec_.worst.value_or(spec_.band).value() : spec_.agreement.value();
  }
  std::string no_speed(double from, double to) const;
  std::string wrong_speed(const Stretch& of, const Readings& readings) const;
  Kept look(std::size_t signal, const Stretch& of, const ReplayModel& model, const PressureCourse& course) const;
  std::string words(const Worst& worst) const;
  Finding conclude_worst(Named what, std::size_t signal, const Worst& worst, double limit, std::uint32_t segment) const;
  void conclude_signal(std::size_t signal, std::span<const Reduction> reductions, std::vector<Finding>& findings) const;
  std::vector<Named> owed(std::size_t signal) const;

  ReplaySpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  PlayedDrive played_;
  std::vector<double> arcs_;
  std::size_t lead_in_ = 0;
  std::vector<Stretch> stretches_;
};

void Replay::write(Script& script) {
  const auto& first = spec_.drive.points.front();
  start_module(segments_, script, first.speed, first.pressures, first.temperature.value_or(kUsualIntake));
  script.settle(segments_);
  lead_in_ = segments_.size();
  const auto history = kBin * static_cast<std::int64_t>(ReplayModel::history_bins(product_));
  for (auto from = 0ns; from < played_.duration(); from += kPiece) {
    const auto to = std::min(from + kPiece, played_.duration());
    played_.write(script, from, to);
    script.hold(segments_, to - from);
    const auto end = from + std::get<Nanoseconds>(segments_.back().end);
    stretches_.push_back({from, to, played_.speed_spans(from - history, end, kBin)});
  }
}

/// Why no edge between two instants of the drive means that the speed signal was away; empty when none was due. A bin
/// is left for where a stretch's ends lie in time.
std::string Replay::no_speed(double from, double to) const {
  const double due = *std::max_element(arcs_.begin(), arcs_.end());
  const double turned = played_.degrees(to - seconds(kBin)) - played_.degrees(from);
  if (turned <= (1 + kSpeedAsked) * due) return {};
  return fmt::format(
      "no speed edges were seen from {:.3f} to {:.3f} s into the drive, while the crank was to turn by {:.0f} degrees: "
      "check the pulse source",
      from, to, turned);
}

/// The speed signal against the drive, interval by interval, and from end to end: what the model reckons with must have
/// been there.
std::string Replay::wrong_speed(const Stretch& of, const Readings& readings) const {
  const auto& record = readings.slice().record;
  const double begin = seconds(of.from), end = begin + seconds(record.end - record.start);
  std::optional<double> last;
  for (const auto& edge :
       recorded_edges(readings.slice().tracks[index(tracks_.edges_in)], readings.scales().tick_rate)) {
    if (edge.rising) continue;
    const double at = begin + seconds(edge.at - record.start);
    if (!last) {
      if (auto away = no_speed(begin, at); !away.empty()) return away;
    } else {
      const double asked = played_.degrees(at) - played_.degrees(*last);
      const double turned = *std::min_element(
          arcs_.begin(), arcs_.end(), [&](double a, double b) { return std::abs(a - asked) < std::abs(b - asked); });
      if (std::abs(turned / asked - 1) > kSpeedAsked)
        return fmt::format(
            "the speed signal reads {:.1f} rpm where {:.1f} rpm was asked, {:.3f} s into the drive: "
            "check the pulse source",
            turned / 6 / (at - *last), asked / 6 / (at - *last), at);
    }
    last = at;
  }
  return no_speed(last.value_or(begin), end);
}

Kept Replay::look(std::size_t signal, const Stretch& of, const ReplayModel& model, const PressureCourse& course) const {
  const bool difference = signal == product_.pressures.size();
  const auto& band = difference ? model.difference() : model.channel(signal);
  const double limit = band_of(signal);
  Kept kept;
  std::size_t worst = 0;
  for (std::size_t b = 0; b < band.low.size(); ++b) {
    const double out = difference ? course.out[0][b] - course.out[1][b] : course.out[signal][b];
    const double outside = band.outside(b, out);
    kept.squares += outside > 0 ? outside * outside : 0;
    kept.runs.take(!(outside <= limit));
    const double doubt = difference ? std::hypot(model.doubt(0, b), model.doubt(1, b)) : model.doubt(signal, b);
    if (b == 0 || worse({outside, doubt}, kept.worst.candidate(), limit_of(signal)))
      kept.worst.outside = outside, kept.worst.doubt = doubt, worst = b;
  }
  kept.worst.at = seconds(of.from + kBin * static_cast<std::int64_t>(worst));
  kept.worst.speed = played_.speed(kept.worst.at).value();
  kept.worst.pressure = course.in[index_pressure(product_)][worst];
  return kept;
}

Judged Replay::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  const auto* of = stretch(i);
  const Readings readings{bench_, slice, scales};
  auto& voided = judged.reduction.voided;
  if (!of) {
    voided = readings.trouble();
    if (voided.empty()) voided = unsettled_input(bench_, segments_[i], slice, scales);
    return judged;
  }
  const auto course = pressure_course(product_, tracks_, readings);
  voided = course.voided.empty() ? wrong_speed(*of, readings) : course.voided;
  if (!voided.empty() || !course.unit_fault.empty()) return judged;  // no numbers: the unit's fault
  const auto reckoned = model(*of, course);
  for (std::size_t s = 0; s < signals(); ++s) look(s, *of, reckoned, course).write(judged.reduction.numbers);
  return judged;
}

std::string Replay::words(const Worst& worst) const {
  return fmt::format("at {:.2f} s, {:.0f} rpm, {:.0f} kPa", worst.at, worst.speed, worst.pressure);
}

std::vector<Named> Replay::owed(std::size_t signal) const {
  if (signal == product_.pressures.size()) return {{name() + "/agreement", name(), "kPa"}};
  const auto& channel = product_.pressures[signal].name;
  return {{fmt::format("{}/{}", name(), channel), name(), "kPa"},
          {fmt::format("{}/longest_outside/{}", name(), channel), name(), "ms"},
          {fmt::format("{}/rms/{}", name(), channel), name(), "kPa"}};
}

Finding Replay::conclude_worst(Named what, std::size_t signal, const Worst& worst, double limit,
                               std::uint32_t segment) const {
  auto finding = measured(std::move(what), worst.outside, {}, {std::nullopt, limit}, worst.doubt, segment);
  if (finding.verdict == Verdict::pass || finding.verdict == Verdict::void_) return finding;
  const bool difference = signal == product_.pressures.size();
  finding.reason =
      fmt::format("{} {:.2f} kPa outside what the tables give ({:.2f} kPa are allowed), {}",
                  difference ? "charge and manifold pressure lie" : product_.pressures[signal].name + " is",
                  worst.outside, limit, words(worst));
  return finding;
}

void Replay::conclude_signal(std::size_t signal, std::span<const Reduction> reductions,
                             std::vector<Finding>& findings) const {
  const auto all = owed(signal);
  Kept whole;
  std::uint32_t segment = 0;
  for (std::size_t i = 0; i < reductions.size(); ++i) {
    const auto& reduction = reductions[i];
    if (!reduction.voided.empty() || (stretch(i) && reduction.numbers.empty())) {
      for (const auto& what : all) {
        auto finding = not_measured(what, reduction.voided, reduction.segment);
        findings.push_back(reduction.voided.empty() ? failed(finding, "a 5 V rail does not pass the module") : finding);
      }
      return;
    }
    if (!stretch(i)) continue;
    const auto kept = Kept::read(&reduction.numbers[signal * Kept::kNumbers]);
    if (segment == 0 || worse(kept.worst.candidate(), whole.worst.candidate(), limit_of(signal)))
      whole.worst = kept.worst, segment = reduction.segment;
    whole.squares += kept.squares;
    whole.runs.join(kept.runs);
  }
  const double band = band_of(signal);
  if (all.size() == 1) {
    findings.push_back(conclude_worst(all[0], signal, whole.worst, limit_of(signal), segment));
    return;
  }
  findings.push_back(conclude_worst(all[0], signal, whole.worst, limit_of(signal), segment));
  const double longest = whole.runs.longest;  // bins of 1 ms
  auto outside = measured(all[1], longest, {}, {std::nullopt, 1e3 * seconds(spec_.longest_outside)},
                          longest > 0 ? 1.0 : 0.0, segment);
  if (outside.verdict == Verdict::fail)
    outside.reason = fmt::format(
        "{} is more than {:.2f} kPa outside what the tables give for {:.0f} ms at a stretch; "
        "worst {}",
        product_.pressures[signal].name, band, longest, words(whole.worst));
  findings.push_back(std::move(outside));
  const double rms = std::sqrt(whole.squares / std::max(1.0, whole.runs.readings));
  findings.push_back(
      measured(all[2], rms, {}, {std::nullopt, spec_.rms.value()}, rms > 0 ? whole.worst.doubt : 0, segment));
}

std::vector<Finding> Replay::conclude(std::span<const Reduction> reductions) const {
  std::vector<Finding> findings;
  for (std::size_t s = 0; s < signals(); ++s) conclude_signal(s, reductions, findings);
  return findings;
}

std::vector<std::string> Replay::characteristics() const {
  std::vector<std::string> ids;
  for (std::size_t s = 0; s < signals(); ++s)
    for (auto& what : owed(s)) ids.push_back(std::move(what.id));
  return ids;
}

/// The worst moments: of each channel that comes near its band in this segment.
std::vector<Strip> Replay::strips(std::size_t i, const Slice& slice, const Scales& scales) const {
  const auto* of = stretch(i);
  if (!of) return {};
  const Readings readings{bench_, slice, scales};
  const auto course = pressure_course(product_, tracks_, readings);
  if (!course.voided.empty() || !course.unit_fault.empty() || !wrong_speed(*of, readings).empty()) return {};
  const auto reckoned = model(*of, course);
  std::vector<Strip> strips;
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto kept = look(c, *of, reckoned, course);
    const double limit = limit_of(c);
    if (kept.worst.outside < kWorthDrawing * limit) continue;
    const auto& band = reckoned.channel(c);
    const auto worst = static_cast<std::size_t>(std::llround((kept.worst.at - seconds(of->from)) / seconds(kBin)));
    const auto around = static_cast<std::size_t>(kAround / kBin);
    const std::size_t first = worst - std::min(worst, around), last = std::min(band.low.size(), worst + around);
    const auto cut = [&](const std::vector<double>& all) {
      return std::vector<double>(all.begin() + static_cast<std::ptrdiff_t>(first),
                                 all.begin() + static_cast<std::ptrdiff_t>(last));
    };
    const auto& channel = product_.pressures[c].name;
    Strip strip;
    strip.title = fmt::format("{} {}", channel, words(kept.worst));
    strip.finding = owed(c).front().id;
    strip.length = kBin * static_cast<std::int64_t>(last - first);
    strip.signals = {{channel + ", in", "kPa", true, cut(course.in[c]), cut(course.in[c])},
                     {channel + ", as the tables give", "kPa", true, cut(band.low), cut(band.high)},
                     {channel + ", out", "kPa", false, cut(course.out[c]), cut(course.out[c])}};
    strip.onset = kBin * static_cast<std::int64_t>(worst - first);
    strip.verdict = measured({}, kept.worst.outside, {}, {std::nullopt, limit}, kept.worst.doubt).verdict;
    strips.push_back(std::move(strip));
  }
  return strips;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_replay(const ReplaySpec& spec, Script& script) {
  return std::make_unique<Replay>(spec, script);
}

}  // namespace rig
