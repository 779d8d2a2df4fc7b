#pragma once

#include <cmath>
#include <functional>
#include <map>
#include <optional>
#include <set>
#include <string>
#include <vector>

#include "rig/compile/expected.hpp"
#include "tests/unit/compile/shipped.hpp"

/// A bench on paper, for judges alone: it follows a step's set-points and writes down what exact instruments with a
/// good unit in the fixture would have recorded. A test then changes what it wants to be otherwise.
namespace paper {

using namespace rig;

constexpr double kScale = 1e-5;  // V (or A) a code
constexpr std::uint32_t kTickRate = 10'000'000;

/// What is set in the middle of a segment: on paper it is so all along.
struct State {
  std::map<std::uint16_t, double> volts;  // sources and supplies that hold a level
  std::map<std::uint16_t, bool> relays;
  Rpm speed{0};
  double at(PortId port) const {
    const auto found = volts.find(index(port));
    return found == volts.end() ? 0 : found->second;
  }
  bool closed(PortId port, bool at_rest) const {
    const auto found = relays.find(index(port));
    return found == relays.end() ? at_rest : found->second;
  }
};

class Bench {
 public:
  explicit Bench(std::shared_ptr<const Plan> plan) : plan_{std::move(plan)} {
    for (const auto& track : plan_->capture.tracks)
      infos_.push_back({track, track.kind == CaptureKind::envelope ? kScale : 1.0, 0, {}});
  }
  const std::vector<TrackInfo>& infos() const { return infos_; }
  Scales scales() const { return {infos_, kTickRate}; }
  const TrackMap& tracks() const { return plan_->tracks; }

  /// Every bin of a track from `from` to `to` reads so.
  void read(Slice& slice, TrackId track, double low, double high, std::size_t from = 0,
            std::size_t to = 1u << 20) const {
    auto& values = slice.tracks[index(track)].values;
    for (std::size_t bin = from; bin < std::min(to, values.size() / 3); ++bin) {
      values[3 * bin] = code(low), values[3 * bin + 1] = code(high);
      values[3 * bin + 2] = static_cast<std::int32_t>(std::lround((low + high) / 2 / kScale * kMeanFraction));
    }
  }
  /// The wheel's edges, each moved by what `moved` says (nothing: it is not there), in seconds.
  using Moved = std::function<std::optional<double>(std::size_t, bool rising)>;
  void edges(Slice& slice, TrackId track, Rpm speed, const Moved& moved) const {
    auto& into = slice.tracks[index(track)];
    into.values.clear();
    into.first = slice.record.start;
    if (speed <= Rpm{0}) return;
    const auto& wheel = plan_->scenario.product->speed.wheel;
    std::int64_t last = 0;
    for (std::uint64_t k = 0;; ++k) {
      const auto edge = wheel.edge(k);
      const double at = static_cast<double>(edge.angle) / static_cast<double>(kFixedDegree) / 6 / speed.value();
      if (at > seconds(slice.record.end - slice.record.start) - 0.0005) return;
      const auto by = moved(k, edge.rising);
      if (!by) continue;
      const auto tick = std::max<std::int64_t>(last, std::llround((at + 1e-4 + *by) * kTickRate));
      into.values.push_back(static_cast<std::int32_t>(((tick - last) << 1) | (edge.rising ? 1 : 0)));
      last = tick;
    }
  }
  void edges(Slice& slice, TrackId track, Rpm speed, double moved = 0) const {
    edges(slice, track, speed, [=](std::size_t, bool) { return std::optional{moved}; });
  }

  /// The slices of a step, one per segment; `change` may make one otherwise.
  using Change = std::function<void(std::size_t segment, const State& state, Slice& slice)>;
  std::vector<Slice> play(const CompiledStep& step, const Change& change = {}) {
    std::vector<Slice> slices;
    for (const auto& segment : step.segments()) {
      for (const auto& event : segment.events)
        if (event.at <= longest(segment) / 2) apply(event.action);
      auto slice = good(segment);
      if (change) change(slices.size(), state_, slice);
      slices.push_back(std::move(slice));
      for (const auto& event : segment.events)
        if (event.at > longest(segment) / 2) apply(event.action);
    }
    return slices;
  }
  const State& state() const { return state_; }

  /// What a step finds in the end.
  struct Result {
    std::vector<Finding> findings;
    std::vector<Note> notes;
    const Finding& operator[](const std::string& id) const {
      for (const auto& finding : findings)
        if (finding.id == id) return finding;
      throw std::runtime_error("no finding '" + id + "'");
    }
    /// All that did not pass, one a line.
    std::string trouble() const {
      std::string all;
      for (const auto& f : findings)
        if (f.verdict != Verdict::pass) all += f.id + " " + std::string{to_text(f.verdict)} + ": " + f.reason + "\n";
      return all;
    }
  };
  Result judge(const CompiledStep& step, const Change& change = {}) {
    Result result;
    std::vector<Reduction> reductions;
    for (const auto& slice : play(step, change)) {
      auto judged = step.judge(reductions.size(), slice, scales());
      reductions.push_back(std::move(judged.reduction));
      for (auto& finding : judged.findings) result.findings.push_back(std::move(finding));
      for (auto& note : judged.notes) result.notes.push_back(std::move(note));
    }
    for (auto& finding : step.conclude(reductions)) result.findings.push_back(std::move(finding));
    std::set<std::string> found, owed;
    for (const auto& finding : result.findings) found.insert(finding.id);
    for (auto& id : step.characteristics()) owed.insert(std::move(id));
    CHECK(found == owed);
    return result;
  }

 private:
  static std::int32_t code(double volts) { return static_cast<std::int32_t>(std::lround(volts / kScale)); }

  void apply(const Action& action) {
    if (const auto* set = std::get_if<SetOutput>(&action)) {
      const auto* volts = std::get_if<Volts>(&set->to);
      state_.volts[index(set->port)] = volts ? volts->value() : 0;
    } else if (const auto* relay = std::get_if<SetRelay>(&action)) {
      state_.relays[index(relay->port)] = relay->closed;
    } else if (const auto* speed = std::get_if<SetSpeed>(&action)) {
      state_.speed = Rpm{speed->piece.millirpm / 1000.0};
    }
  }

  Slice good(const Segment& segment) {
    Slice slice;
    slice.record.id = segment.id;
    slice.record.start = now_;
    now_ = now_ + longest(segment);
    slice.record.end = now_;
    slice.tracks.resize(infos_.size());
    const auto bins = static_cast<std::size_t>((slice.record.end - slice.record.start) / Nanoseconds{1'000'000});
    for (std::size_t t = 0; t < infos_.size(); ++t) {
      slice.tracks[t].first = slice.record.start;
      if (infos_[t].track.kind == CaptureKind::envelope) slice.tracks[t].values.assign(3 * bins, 0);
    }
    write_lines(slice);
    write_speed(slice);
    return slice;
  }

  void hold(Slice& slice, TrackId track, double volts) const { read(slice, track, volts, volts); }

  void write_lines(Slice& slice) const {
    const auto& product = *plan_->scenario.product;
    const auto& wiring = plan_->bench.wiring;
    const double battery = state_.at(wiring.battery);
    const bool on = battery > 0 && state_.at(wiring.rail(product.rails[0].name)->source) > 0;
    hold(slice, tracks().battery, battery);
    hold(slice, tracks().current, battery > 0 && !product.straight_through ? 0.06 : 0.0);
    for (std::size_t r = 0; r < product.rails.size(); ++r)
      for (const auto track : {tracks().rails[r].controller, tracks().rails[r].sensor})
        hold(slice, track, state_.at(wiring.rail(product.rails[r].name)->source));
    std::vector<Kilopascals> in;
    for (const auto& channel : product.pressures)
      in.push_back(channel.curve.pressure(Volts{state_.at(wiring.line(channel.name)->source)}, Volts{5}));
    for (std::size_t c = 0; c < in.size(); ++c) {
      const auto& channel = product.pressures[c];
      const auto out = expected_output(product, c, {state_.speed, in, Celsius{25}});
      hold(slice, tracks().pressures[c].in, state_.at(wiring.line(channel.name)->source));
      hold(slice, tracks().pressures[c].out,
           on ? channel.curve.volts(out, Volts{5}).value() : state_.at(wiring.line(channel.name)->source));
    }
    if (product.temperature)
      for (const auto track : {tracks().temperature->in, tracks().temperature->out})
        hold(slice, track, state_.at(wiring.line(product.temperature->name)->source));
  }

  /// 1.2 kohm, a drain of 25 ohm (and a foot of 1 ohm), 0.1 ohm through the module.
  void write_speed(Slice& slice) const {
    const auto& wiring = plan_->bench.wiring.speed;
    const bool pulled = state_.closed(*wiring.pull_up_switch, true);
    const double supply = state_.at(*wiring.pull_up_supply), foot = state_.at(*wiring.foot);
    const double current = pulled ? (supply - foot) / 1226.1 : 0;
    const double high = pulled ? supply * 454.5e3 / 455.7e3 : foot;
    read(slice, *tracks().speed_in, foot + 26 * current, high);
    read(slice, *tracks().speed_out, foot + 26.1 * current, high);
    const bool slow = wiring.slow_edges && state_.closed(wiring.slow_edges->relay, false);
    const auto wander = [=](std::size_t k, bool) { return std::optional{slow ? 2e-6 * std::sin(1.0 * k) : 0.0}; };
    if (!pulled) return;
    edges(slice, tracks().edges_in, state_.speed, wander);
    edges(slice, tracks().edges_out, state_.speed, wander);
  }

  std::shared_ptr<const Plan> plan_;
  std::vector<TrackInfo> infos_;
  State state_;
  BenchTime now_{Nanoseconds{1'000'000'000}};
};

/// A scenario of one step (and whatever must come with it), compiled on the shipped bench.
inline std::shared_ptr<const Plan> plan_of(std::vector<StepSpec> steps, const RunFacts& facts = {},
                                           std::shared_ptr<const Product> product = nullptr,
                                           BenchSetup bench = shipped::emulated_bench()) {
  auto scenario = shipped::end_of_line();
  scenario.purpose = Purpose::trial;
  scenario.steps = std::move(steps);
  if (product) scenario.product = std::move(product);
  auto compiled = compile(scenario, bench, capabilities_of(bench), facts);
  for (const auto& complaint : compiled.complaints) UNSCOPED_INFO(to_text(complaint));
  REQUIRE(compiled.plan);
  return compiled.plan;
}

}  // namespace paper
