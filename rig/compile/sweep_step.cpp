#include "rig/compile/sweep_step.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/sweep_conclusions.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/compile/sweep_reduction.hpp"
#include "rig/core/characteristic.hpp"

namespace rig {
namespace {

constexpr Nanoseconds kDischarge{100'000'000};

class Sweep final : public CompiledStep {
 public:
  Sweep(const SweepSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        points_{sweep_points(product_, spec)} {
    grid_ = points_.size();
    for (auto& point : response_points(product_, spec)) points_.push_back(std::move(point));
    write(script);
    for (std::size_t i = 0; i < grid_; ++i)
      for (const auto& channel : product_.pressures) ids_.push_back(point_id(points_[i], channel.name));
  }

  std::string_view kind() const override { return "sweep"; }
  int judge_version() const override { return 2; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    return conclude_sweep({name(), spec_, product_, points_, grid_}, reductions.subspan(lead_in_));
  }
  std::vector<std::string> characteristics() const override {
    auto all = ids_;
    for (auto& id : sweep_conclusion_ids({name(), spec_, product_, points_, grid_})) all.push_back(std::move(id));
    return all;
  }
  std::optional<Segment> again(std::size_t i) const override {
    if (i < lead_in_) return std::nullopt;
    return alone_[i - lead_in_];
  }

 private:
  void write(Script& script);
  std::string point_id(const SweepPoint& point, const std::string& channel) const {
    return to_text(Characteristic{name(), channel, point.speed, point.index, point.temperature, point.from_above});
  }
  Finding judge_channel(std::size_t point, std::size_t channel, const SettledPoint& read, const Expectation& expected,
                        const Slice& slice) const;
  SweepKept keep(std::size_t point, const SettledPoint& read, const std::vector<Expectation>& expected,
                 bool repeated) const;

  SweepSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<SweepPoint> points_;  ///< the grid, then the response points
  std::size_t grid_ = 0;
  std::size_t lead_in_ = 0;       ///< segments before the first point
  std::vector<std::string> ids_;  ///< grid_ x channels
  std::vector<Segment> alone_;
};

void Sweep::write(Script& script) {
  // The power cycle that the sweep runs on: everything off, supplies up, the module started, then the points.
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.speed(Rpm{0});
  script.hold(segments_, kDischarge);
  script.battery(product_.battery.nominal);
  script.rails(true);
  if (product_.temperature) script.temperature(points_.front().temperature.value_or(Celsius{25}));
  script.speed(points_.front().speed);
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) script.pressure(c, points_.front().pressures[c]);
  script.hold(segments_, product_.timing.boot);
  lead_in_ = segments_.size();
  for (const auto& point : points_) {
    // Every point says all of itself, so that it can be played again on its own.
    script.speed(point.speed);
    if (point.temperature) script.temperature(*point.temperature);
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) script.pressure(c, point.pressures[c]);
    script.settle(segments_);
    alone_.push_back(script.alone(segments_.back(), point.speed));
  }
}

Finding Sweep::judge_channel(std::size_t point, std::size_t channel, const SettledPoint& read,
                             const Expectation& expected, const Slice& slice) const {
  const auto& reading = read.pressures[channel];
  const double doubt = std::hypot(reading.out_u.value(), expected.uncertainty.value());
  const auto band = Band::around(expected.value.value(), tolerance_at(spec_, points_[point]));
  auto finding = measured({ids_[point * product_.pressures.size() + channel], name(), "kPa"}, reading.out.value(),
                          expected.value.value(), band, doubt, slice.record.id);
  if (!reading.settled)
    return failed(std::move(finding),
                  fmt::format("{} did not settle in {} ms though its input had", product_.pressures[channel].name,
                              (slice.record.end - slice.record.start).count() / 1'000'000));
  return finding;
}

SweepKept Sweep::keep(std::size_t point, const SettledPoint& read, const std::vector<Expectation>& expectations,
                      bool repeated) const {
  SweepKept kept;
  for (std::size_t c = 0; c < read.pressures.size(); ++c) {
    const auto& reading = read.pressures[c];
    const auto& channel = product_.pressures[c];
    const auto& expected = expectations[c];
    const auto set = channel.curve.volts(points_[point].pressures[c], product_.rails[channel.rail].nominal);
    // A segment played again waits longer, and so does one that changes the speed.
    const bool timed = reading.settled && reading.settled_after && !points_[point].speed_changes && !repeated;
    kept.channels.push_back({reading.in.value(), reading.out.value(), expected.value.value(),
                             std::hypot(reading.out_u.value(), expected.uncertainty.value()),
                             reading.in_v.value - set.value(), reading.out_v.peak_to_peak(),
                             timed ? seconds(*reading.settled_after) * 1e3 : std::numeric_limits<double>::quiet_NaN()});
  }
  kept.edges_lost = static_cast<double>(read.edges_in) - static_cast<double>(read.edges_out);
  const double nothing = std::numeric_limits<double>::quiet_NaN();
  const bool both = read.temperature_in && read.temperature_out;
  if (!read.temperature_settled)
    kept.temperature_error = std::numeric_limits<double>::infinity();
  else
    kept.temperature_error = both ? (*read.temperature_out - *read.temperature_in).value() : nothing;
  kept.temperature_u = 1.4142135623730951 * read.temperature_u.value();
  return kept;
}

Judged Sweep::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  if (i < lead_in_) return judged;
  const auto point = i - lead_in_;
  const auto channels = product_.pressures.size();
  const auto read = read_point(product_, bench_, tracks_, segments_[i], slice, scales, points_[point].speed);
  judged.reduction.voided = read.voided.empty() ? read.unit_fault : read.voided;
  std::vector<Expectation> expected;
  if (judged.reduction.voided.empty()) {
    for (std::size_t c = 0; c < channels; ++c) expected.push_back(expectation(product_, c, read));
    judged.reduction.numbers = pack(keep(point, read, expected, slice.record.id != segments_[i].id));
  }
  if (point >= grid_) return judged;
  for (std::size_t c = 0; c < channels; ++c) {
    if (!expected.empty()) {
      judged.findings.push_back(judge_channel(point, c, read, expected[c], slice));
      continue;
    }
    auto finding = not_measured({ids_[point * channels + c], name(), "kPa"}, judged.reduction.voided, slice.record.id);
    judged.findings.push_back(read.unit_fault.empty() ? finding : failed(finding, read.unit_fault));
  }
  return judged;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_sweep(const SweepSpec& spec, Script& script) {
  return std::make_unique<Sweep>(spec, script);
}

}  // namespace rig
