#include "rig/compile/supply_step.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/settled_point.hpp"
#include "rig/compile/supply_judge.hpp"
#include "rig/compile/supply_strips.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/compile/worst_of.hpp"
#include "rig/core/number_text.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Celsius kAmbient{25};            ///< what the temperature line is set to
constexpr double kMostLag = 5;             ///< ms that a supply may lie behind its course
constexpr std::size_t kOfTheCourse = 3;    ///< numbers of a reduction before the channels': off, allowed, lag
constexpr double kMillisecondBin = 1.155;  ///< ms, expanded: two ends, each anywhere within its bin

class Supply final : public CompiledStep {
 public:
  Supply(const SupplySpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()} {
    auto courses = played_courses(spec_, product_, bench_);
    assert(std::holds_alternative<std::vector<PlayedCourse>>(courses));  // check_supply_claims refuses the others
    courses_ = std::get<std::vector<PlayedCourse>>(std::move(courses));
    SweepSpec point;  // the sweep's rule for how the second pressure lies to the first
    point.speeds = {spec_.speed};
    point.pressures = {spec_.pressure};
    at_ = sweep_points(product_, point).front().pressures;
    write(script);
  }
  std::string_view kind() const override { return "supply"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;
  std::vector<Strip> strips(std::size_t i, const Slice& slice, const Scales& scales) const override;

 private:
  /// Which piece of which course a segment is; the first segment leads up to them.
  struct Asked {
    std::size_t course, piece;
  };
  void write(Script& script);
  void write_piece(Script& script, const PlayedCourse& course, const SupplyPiece& piece);
  const PlayedCourse& course(std::size_t segment) const { return courses_[asked_[segment - 1].course]; }
  const SupplyPiece& piece(std::size_t segment) const { return course(segment).pieces[asked_[segment - 1].piece]; }
  std::string id(const PlayedCourse& course, std::string_view what) const {
    return fmt::format("{}/{}/{}", name(), course.name, what);
  }
  std::string id(const PlayedCourse& course, std::string_view what, std::size_t channel) const {
    return fmt::format("{}/{}", id(course, what), product_.pressures[channel].name);
  }
  std::string level_id(const PlayedCourse& course, std::size_t channel, Volts level) const {
    return fmt::format("{}@{}V", id(course, "tracking", channel), shortest_text(level.value()));
  }
  /// "412 ms into it, battery 6.50 V, at 3500 rpm, 200 kPa"
  std::string moment(const PlayedCourse& course, double ms, double battery, double rail) const;
  Finding judge_level(std::size_t i, std::size_t channel, const Readings& readings, const Scales& scales) const;
  /// What is kept of one course, in playing order.
  struct Kept {
    const SupplyPiece* piece;
    const Reduction* reduction;
    SupplyPart part(std::size_t channel) const {
      return SupplyPart::from(&reduction->numbers[kOfTheCourse + channel * SupplyPart::kNumbers]);
    }
    double at(double bin) const { return seconds(piece->from) * 1e3 + bin; }
  };
  void conclude_course(const PlayedCourse& course, std::span<const Kept> kept, std::vector<Finding>& findings) const;
  Finding followed(const PlayedCourse& course, std::span<const Kept> kept) const;
  Finding lag(const PlayedCourse& course, std::span<const Kept> kept) const;
  Finding in_band(const PlayedCourse& course, std::span<const Kept> kept, std::size_t channel) const;
  Finding through(const PlayedCourse& course, std::span<const Kept> kept, std::size_t channel) const;
  Finding elsewhere(const PlayedCourse& course, std::span<const Kept> kept, std::size_t channel) const;
  Finding recovery(const PlayedCourse& course, std::span<const Kept> kept, std::size_t channel) const;

  SupplySpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<PlayedCourse> courses_;
  std::vector<Kilopascals> at_;  ///< one per pressure
  std::vector<Asked> asked_;     ///< one per segment but the first
};

void Supply::write(Script& script) {
  script.battery(product_.battery.nominal);
  script.rails(true);
  script.temperature(kAmbient);
  for (std::size_t c = 0; c < at_.size(); ++c) script.pressure(c, at_[c]);
  script.speed(spec_.speed);
  script.hold(segments_, std::max(product_.timing.boot, spec_.recovery) + product_.timing.settle_limit);
  for (std::size_t c = 0; c < courses_.size(); ++c)
    for (std::size_t p = 0; p < courses_[c].pieces.size(); ++p) {
      write_piece(script, courses_[c], courses_[c].pieces[p]);
      asked_.push_back({c, p});
    }
}

/// What of a supply's course lies within a piece, as ramps from where the one before has ended.
template <class Ramp>
void play(Script& script, const Corners& corners, const SupplyPiece& piece, const Ramp& ramp) {
  Nanoseconds at = piece.from;
  Volts level = level_at(corners, at);
  const auto go = [&](Nanoseconds to, Volts target) {
    script.after(at - piece.from);
    if (target != level && to > at) ramp(target, to - at);
    at = to, level = target;
  };
  for (const auto& corner : corners)
    if (corner.at > piece.from && corner.at < piece.from + piece.length) go(corner.at, corner.to);
  go(piece.from + piece.length, level_at(corners, piece.from + piece.length));
}

void Supply::write_piece(Script& script, const PlayedCourse& course, const SupplyPiece& piece) {
  play(script, course.battery, piece, [&](Volts to, Nanoseconds over) { script.battery_ramp(to, over); });
  for (std::size_t r = 0; r < course.rails.size(); ++r)
    play(script, course.rails[r], piece, [&](Volts to, Nanoseconds over) {
      script.rail_ramp(r, to, over);
      // The sensors on it are ratiometric too: at the same pressure they give less of less.
      for (std::size_t c = 0; c < product_.pressures.size(); ++c)
        if (product_.pressures[c].rail == r) script.source_ramp(c, product_.pressures[c].curve.volts(at_[c], to), over);
      if (product_.temperature && product_.temperature->rail == r)
        script.temperature_source_ramp(product_.temperature->curve.volts(kAmbient, to), over);
    });
  script.hold(segments_, piece.length);
}

std::string Supply::moment(const PlayedCourse& course, double ms, double battery, double rail) const {
  const auto supply = course.rail ? fmt::format("{} {:.2f} V", product_.rails[*course.rail].name, rail)
                                  : fmt::format("battery {:.2f} V", battery);
  return fmt::format("{:.0f} ms into {}, {}, at {}, {}", ms, course.title, supply, to_text(spec_.speed),
                     to_text(spec_.pressure));
}

/// The output against the table, at rest at a rail's level: both by what is measured.
Finding Supply::judge_level(std::size_t i, std::size_t c, const Readings& readings, const Scales& scales) const {
  const auto level = *piece(i).level;
  Named what{level_id(course(i), c, level), name(), "kPa"};
  const auto& slice = readings.slice();
  const std::size_t bins = readings.bins(tracks_.pressures[c].out);
  const auto window = std::min(bins, static_cast<std::size_t>(product_.timing.settle_window / 1ms));
  const auto point = read_stretch(product_, bench_, tracks_, slice, scales, bins - window, window, spec_.speed);
  if (!point.voided.empty()) return not_measured(std::move(what), point.voided, slice.record.id);
  if (!point.unit_fault.empty())
    return failed(measured(std::move(what), std::nan(""), {}, {}, 0, slice.record.id), point.unit_fault);
  const auto expected = expectation(product_, c, point);
  const auto& read = point.pressures[c];
  auto finding = measured(std::move(what), read.out.value(), expected.value.value(),
                          Band::around(expected.value.value(), spec_.band),
                          std::hypot(expected.uncertainty.value(), read.out_u.value()), slice.record.id);
  if (finding.verdict == Verdict::fail)
    finding.reason =
        fmt::format("{} is {:+.1f} kPa off with {} at {}: it does not follow its 5 V rail", product_.pressures[c].name,
                    finding.value - *finding.expected, product_.rails[*course(i).rail].name, to_text(level));
  return finding;
}

Judged Supply::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  const Readings readings{bench_, slice, scales};
  judged.reduction.voided = readings.trouble();
  if (i == 0) return judged;
  const auto speed =
      measured_speed(slice.tracks[index(tracks_.edges_in)], product_.speed.wheel, spec_.speed, scales.tick_rate);
  if (judged.reduction.voided.empty() && (!speed || std::abs(speed->value / spec_.speed - 1) > 0.005))
    judged.reduction.voided =
        fmt::format("the speed signal is not the {} that was asked: check the pulse source", to_text(spec_.speed));
  const SupplySegment segment{spec_, product_, tracks_, course(i), piece(i), readings};
  if (judged.reduction.voided.empty() && segment.bins() == 0) judged.reduction.voided = "no readings";
  if (piece(i).from == 0ns) judged.notes.push_back({"course " + course(i).name, course(i).told});
  if (piece(i).level)
    for (std::size_t c = 0; c < product_.pressures.size(); ++c)
      judged.findings.push_back(judged.reduction.voided.empty()
                                    ? judge_level(i, c, readings, scales)
                                    : not_measured({level_id(course(i), c, *piece(i).level), name(), "kPa"},
                                                   judged.reduction.voided, slice.record.id));
  if (!judged.reduction.voided.empty()) return judged;
  const auto followed = segment.followed();
  judged.reduction.numbers = {followed.off_v, followed.allowed, followed.lag};
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) segment.part(c).append_to(judged.reduction.numbers);
  return judged;
}

/// Largest deviation of any supply from its course. Its limit is that of the supply, there.
Finding Supply::followed(const PlayedCourse& course, std::span<const Kept> kept) const {
  const Kept* worst = &kept.front();
  const auto beyond = [](const Kept& k) { return k.reduction->numbers[0] - k.reduction->numbers[1]; };
  for (const auto& one : kept)
    if (beyond(one) > beyond(*worst)) worst = &one;
  auto finding = measured({id(course, "course"), name(), "V"}, worst->reduction->numbers[0], {},
                          {std::nullopt, worst->reduction->numbers[1]}, 0, worst->reduction->segment);
  if (finding.verdict != Verdict::pass)
    finding.reason = fmt::format("the bench did not follow the course '{}': {:.3f} V off it, allowed {:.3f} V",
                                 course.title, finding.value, *finding.high);
  return rig::of_the_rig(std::move(finding), "Check the supplies' wires, limits and slew");
}

Finding Supply::lag(const PlayedCourse& course, std::span<const Kept> kept) const {
  double most = 0;
  for (const auto& one : kept) most = std::max(most, one.reduction->numbers[2]);
  return rig::of_the_rig(measured({id(course, "course_lag"), name(), "ms"}, most, {}, {std::nullopt, kMostLag}, 0),
                         "The bench lies too far behind its course: check the supply's slew");
}

Finding Supply::in_band(const PlayedCourse& course, std::span<const Kept> kept, std::size_t c) const {
  const Band band = Band::around(0, {spec_.band.absolute + spec_.band.relative * spec_.pressure.value(), 0});
  const auto off = [c](const Kept& k) { return Candidate{std::abs(k.part(c).off_kpa), k.part(c).off_doubt}; };
  const Kept *worst = nullptr, *reset = nullptr;
  for (const auto& one : kept) {
    const auto part = one.part(c);
    if (!reset && !std::isnan(part.reset_at)) reset = &one;
    if (std::isnan(part.off_kpa)) continue;
    if (!worst || worse(off(one), off(*worst), *band.high)) worst = &one;
  }
  const Named what{id(course, "in_band", c), name(), "kPa"};
  if (!worst) return not_measured(what, "the supplies were never in their ranges for long enough");
  const auto part = worst->part(c);
  auto finding = measured(what, part.off_kpa, 0.0, band, part.off_doubt, worst->reduction->segment);
  if (finding.verdict == Verdict::fail && reset) {
    const auto first = reset->part(c);
    finding.reason = fmt::format("resets at {:.2f} V, inside its working range: {} passes through {}",
                                 course.rail ? first.reset_rail : first.reset_battery, product_.pressures[c].name,
                                 moment(course, reset->at(first.reset_at), first.reset_battery, first.reset_rail));
  } else if (finding.verdict == Verdict::fail) {
    finding.reason = fmt::format("{} is {:+.1f} kPa off the table {}", product_.pressures[c].name, part.off_kpa,
                                 moment(course, worst->at(part.off_at), part.off_battery, part.off_rail));
  }
  return finding;
}

Finding Supply::through(const PlayedCourse& course, std::span<const Kept> kept, std::size_t c) const {
  const auto off = [c](const Kept& k) { return Candidate{std::abs(k.part(c).through_v), k.part(c).through_doubt}; };
  const Kept* worst = nullptr;
  for (const auto& one : kept) {
    const auto part = one.part(c);
    if (std::isnan(part.through_v)) continue;
    if (!worst || worse(off(one), off(*worst), spec_.passive_band.value())) worst = &one;
  }
  const Named what{id(course, "pass_through", c), name(), "V"};
  if (!worst) return not_measured(what, "the supply was never missing for long enough: the bench did not follow");
  const auto part = worst->part(c);
  auto finding = measured(what, part.through_v, 0.0, Band::around(0, {spec_.passive_band.value(), 0}),
                          part.through_doubt, worst->reduction->segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} differs from its input by {:+.3f} V without its supply, {}",
                                 product_.pressures[c].name, part.through_v,
                                 moment(course, worst->at(part.through_at), part.through_battery, part.through_rail));
  return finding;
}

/// The longest stretch elsewhere than between input and table. Bins tell it to a bin; what lies within the doubt may
/// have been outside or not.
Finding Supply::elsewhere(const PlayedCourse& course, std::span<const Kept> kept, std::size_t c) const {
  SupplyRun surely, perhaps;
  const Kept* where = &kept.front();
  for (const auto& one : kept) {
    const auto before = perhaps.longest;
    surely = join(surely, one.part(c).surely), perhaps = join(perhaps, one.part(c).perhaps);
    if (perhaps.longest > before) where = &one;
  }
  const double least = std::max(0.0, surely.longest - 2), most = perhaps.longest;
  auto finding =
      measured({id(course, "elsewhere", c), name(), "ms"}, (least + most) / 2, {},
               {std::nullopt, seconds(spec_.longest_spike) * 1e3}, (most - least) / 2, where->reduction->segment);
  if (finding.verdict != Verdict::pass)
    finding.reason =
        fmt::format("{} is neither at its input nor at the table for {:.0f} to {:.0f} ms, allowed {}: until {}",
                    product_.pressures[c].name, least, most, to_text(spec_.longest_spike),
                    moment(course, perhaps.ends, where->part(c).elsewhere_battery, where->part(c).elsewhere_rail));
  return finding;
}

/// From every supply being in its range again to the output working, and staying so, at most.
Finding Supply::recovery(const PlayedCourse& course, std::span<const Kept> kept, std::size_t c) const {
  double worst = 0;
  std::optional<double> waiting;
  std::uint32_t where = kept.front().reduction->segment;
  const auto note = [&](double took, const Kept& one) {
    if (took > worst) worst = took, where = one.reduction->segment;
  };
  bool went_low = false;
  for (const auto& one : kept) {
    const auto part = one.part(c);
    went_low |= !(part.leading_whole > 0);
    const bool goes_on = waiting && !(part.leading_arrived > 0) && part.leading_whole > 0;
    if (waiting && part.leading_arrived > 0) note(*waiting + part.leading, one);
    waiting = goes_on ? std::optional{*waiting + part.leading} : std::nullopt;
    if (!std::isnan(part.longest_return)) note(part.longest_return, one);
    if (!std::isnan(part.waiting)) waiting = part.waiting;
  }
  const Named what{id(course, "recovery", c), name(), "ms"};
  const Band band{std::nullopt, seconds(spec_.recovery) * 1e3};
  if (waiting)
    return failed(measured(what, *waiting, {}, band, kMillisecondBin, where),
                  fmt::format("{} does not work again {:.0f} ms after the supply is back ({})",
                              product_.pressures[c].name, *waiting, course.title));
  if (!went_low)
    return not_measured(what,
                        "no supply was seen below its range, which the course asks for: check the supplies' wires");
  return measured(what, worst, {}, band, kMillisecondBin, where);
}

void Supply::conclude_course(const PlayedCourse& course, std::span<const Kept> kept,
                             std::vector<Finding>& findings) const {
  const auto first = findings.size();
  std::string trouble;
  for (const auto& one : kept)
    if (trouble.empty()) trouble = one.reduction->voided;
  if (trouble.empty()) {
    findings.push_back(followed(course, kept));
    findings.push_back(lag(course, kept));
    for (auto i = first; i < findings.size(); ++i)
      if (trouble.empty() && findings[i].verdict != Verdict::pass) trouble = findings[i].reason;
  } else {
    for (const auto* what : {"course", "course_lag"})
      findings.push_back(
          not_measured({id(course, what), name(), what == std::string_view{"course"} ? "V" : "ms"}, trouble));
  }
  const auto judge = [&](Finding (Supply::*one)(const PlayedCourse&, std::span<const Kept>, std::size_t) const,
                         std::string_view what, std::size_t c, const char* in) {
    findings.push_back(trouble.empty() ? (this->*one)(course, kept, c)
                                       : not_measured({id(course, what, c), name(), in}, trouble));
  };
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    judge(&Supply::in_band, "in_band", c, "kPa");
    judge(&Supply::elsewhere, "elsewhere", c, "ms");
    if (course.goes_missing) judge(&Supply::through, "pass_through", c, "V");
    if (course.goes_low) judge(&Supply::recovery, "recovery", c, "ms");
  }
}

std::vector<Finding> Supply::conclude(std::span<const Reduction> reductions) const {
  std::vector<Finding> findings;
  for (std::size_t c = 0; c < courses_.size(); ++c) {
    std::vector<Kept> kept;
    for (std::size_t i = 1; i < reductions.size(); ++i)
      if (asked_[i - 1].course == c) kept.push_back({&piece(i), &reductions[i]});
    if (!kept.empty()) conclude_course(courses_[c], kept, findings);
  }
  return findings;
}

std::vector<std::string> Supply::characteristics() const {
  std::vector<std::string> ids;
  for (const auto& course : courses_) {
    ids.insert(ids.end(), {id(course, "course"), id(course, "course_lag")});
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
      ids.insert(ids.end(), {id(course, "in_band", c), id(course, "elsewhere", c)});
      if (course.goes_missing) ids.push_back(id(course, "pass_through", c));
      if (course.goes_low) ids.push_back(id(course, "recovery", c));
      for (const auto& piece : course.pieces)
        if (piece.level) ids.push_back(level_id(course, c, *piece.level));
    }
  }
  return ids;
}

std::vector<Strip> Supply::strips(std::size_t i, const Slice& slice, const Scales& scales) const {
  if (i == 0) return {};
  const Readings readings{bench_, slice, scales};
  const SupplySegment segment{spec_, product_, tracks_, course(i), piece(i), readings};
  std::vector<Strip> strips;
  for (std::size_t c = 0; c < product_.pressures.size() && segment.bins() > 0; ++c) {
    const auto finding = piece(i).level ? level_id(course(i), c, *piece(i).level) : id(course(i), "in_band", c);
    const auto since = piece(i).from > Nanoseconds{0} ? ", from " + to_text(piece(i).from) : std::string{};
    const auto title = fmt::format("{}, {}{}, at {}, {}", course(i).title, product_.pressures[c].name, since,
                                   to_text(spec_.speed), to_text(spec_.pressure));
    strips.push_back(supply_strip(title, finding, product_, tracks_, course(i), segment, readings, c));
  }
  return strips;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_supply(const SupplySpec& spec, Script& script) {
  return std::make_unique<Supply>(spec, script);
}

}  // namespace rig
