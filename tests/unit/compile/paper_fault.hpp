#pragma once

#include <functional>
#include <memory>
#include <string>
#include <vector>

#include "rig/compile/expected.hpp"
#include "rig/compile/fault_judge.hpp"
#include "tests/unit/compile/paper_bench.hpp"

/// A fault on paper: what the pins would have carried, as functions of the time in the fault's segment, written down as
/// exact instruments would have recorded it. At 3500 rpm, 200 kPa of manifold pressure.
namespace paper {

using Course = std::function<double(double)>;

/// A fault of the two-pressure product, with what its file says is owed for it.
inline FaultCase fault_of(FaultKind kind, const std::string& wire, ConnectorSide side = ConnectorSide::sensor,
                          std::optional<OpenEnd> end = {}) {
  FaultCase one;
  one.kind = kind, one.pin = {wire, side, {}}, one.end = end;
  if (kind == FaultKind::intermittent)
    one.bursts = 4, one.open_for = Nanoseconds{40'000'000}, one.made_for = Nanoseconds{600'000'000};
  const auto product = shipped::end_of_line().product;
  const auto* owed = owed_for(product->reactions, one);
  REQUIRE(owed);
  one.owed = *owed;
  return one;
}

class Fault {
 public:
  explicit Fault(FaultCase one) {
    FaultSpec spec;
    spec.cases.push_back(std::move(one));
    plan_ = plan_of({spec});
    product_ = plan_->scenario.product.get();
    times_ = times_of(*product_, plan_->bench, spec.cases.front());
    for (const auto& track : plan_->capture.tracks) {
      const bool volts = track.kind == CaptureKind::envelope || track.kind == CaptureKind::samples;
      infos_.push_back({track, volts ? kScale : 1.0, 0, {}});
    }
    const auto pressures = pressures_at(*product_, spec.cases.front().at);
    for (std::size_t c = 0; c < pressures.size(); ++c) {
      const auto& curve = product_->pressures[c].curve;
      const double input = curve.volts(pressures[c], Volts{5}).value();
      const auto wanted = expected_output(*product_, c, {Rpm{3500}, pressures, Celsius{25}});
      inputs.push_back(input), tables.push_back(curve.volts(wanted, Volts{5}).value());
      in.push_back([=](double) { return input; });
      const double table = tables.back();
      out.push_back([=](double) { return table; });
    }
    battery = [](double) { return 13.8; };
    controller_rails = sensor_rails = [](double) { return 5.0; };
    edges = [](double) { return true; };
  }

  const CompiledStep& step() const { return *plan_->steps.front(); }
  /// The segment in which the fault is played: the one with a close look.
  std::size_t segment() const {
    std::size_t i = 0;
    while (step().segments()[i].windows.empty()) ++i;
    return i;
  }
  double on() const { return seconds(times_.on); }
  double off() const { return seconds(times_.off); }
  double end() const { return seconds(times_.end); }
  double deadline() const { return seconds(times_.deadline); }

  /// The shift goes at one moment and has grown back to its whole size at another, over 80 ms.
  Course away(std::size_t c, double gone, double back) const {
    const double input = inputs[c], table = tables[c];
    return [=](double t) {
      if (t < gone) return table;
      return input + (table - input) * std::clamp((t - back + 0.08) / 0.08, 0.0, 1.0);
    };
  }
  /// The line stands at a voltage between two moments.
  static Course at(double volts, double from, double to, Course otherwise) {
    return [=](double t) { return t >= from && t < to ? volts : otherwise(t); };
  }

  Slice slice() const {
    const auto& played = step().segments()[segment()];
    Slice slice;
    slice.record.id = played.id;
    slice.record.start = BenchTime{Nanoseconds{10'000'000'000}};
    slice.record.end = slice.record.start + longest(played);
    slice.tracks.resize(infos_.size());
    for (auto& track : slice.tracks) track.first = slice.record.start;
    const auto& tracks = plan_->tracks;
    for (std::size_t c = 0; c < in.size(); ++c) {
      draw(slice, tracks.pressures[c].in, in[c]), draw(slice, tracks.pressures[c].out, out[c]);
      sample(slice, tracks.fine[c].in, in[c]), sample(slice, tracks.fine[c].out, out[c]);
    }
    for (const auto& rail : tracks.rails) draw(slice, rail.controller, controller_rails);
    for (const auto& rail : tracks.rails) draw(slice, rail.sensor, sensor_rails);
    draw(slice, tracks.battery, battery);
    draw(slice, tracks.current, [this](double t) { return battery(t) > 5.5 ? 0.06 : 0.0; });
    const double warm = product_->temperature->curve.volts(Celsius{25}, Volts{5}).value();
    for (const auto track : {tracks.temperature->in, tracks.temperature->out})
      draw(slice, track, [=](double) { return warm; });
    turn(slice, tracks.edges_in), turn(slice, tracks.edges_out);
    slice.flags = flags;
    return slice;
  }

  Judged judge() const { return step().judge(segment(), slice(), {infos_, kTickRate}); }
  std::vector<Strip> strips() const { return step().strips(segment(), slice(), {infos_, kTickRate}); }
  /// The finding whose name holds both words.
  Finding find(const std::string& what, const std::string& of) const {
    const auto judged = judge();
    for (const auto& finding : judged.findings)
      if (finding.id.find("/" + what + "/" + of) != std::string::npos) return finding;
    throw std::runtime_error("no finding '" + what + "' of '" + of + "'");
  }
  std::shared_ptr<const Plan> plan() const { return plan_; }
  Scales scales() const { return {infos_, kTickRate}; }

  std::vector<double> inputs, tables;  ///< V, per pressure, before the fault
  std::vector<Course> in, out;
  Course battery, controller_rails, sensor_rails;
  std::function<bool(double)> edges;  ///< whether the speed signal is there
  std::vector<RigFlag> flags;

 private:
  static std::int32_t code(double volts, double of = 1) {
    return static_cast<std::int32_t>(std::lround(volts / kScale * of));
  }

  void draw(Slice& slice, TrackId track, const Course& course) const {
    auto& values = slice.tracks[index(track)].values;
    const auto bins = static_cast<std::size_t>((slice.record.end - slice.record.start) / Nanoseconds{1'000'000});
    for (std::size_t b = 0; b < bins; ++b) {
      double low = 1e9, high = -1e9, sum = 0;
      constexpr int kConversions = 20;
      for (int k = 0; k < kConversions; ++k) {
        const double v = course(1e-3 * (static_cast<double>(b) + (k + 0.5) / kConversions));
        low = std::min(low, v), high = std::max(high, v), sum += v / kConversions;
      }
      values.insert(values.end(), {code(low), code(high), code(sum, kMeanFraction)});
    }
  }
  void sample(Slice& slice, TrackId track, const Course& course) const {
    auto& into = slice.tracks[index(track)];
    const auto skew = plan_->bench.ports[index(infos_[index(track)].track.port)].skew;
    into.first = slice.record.start + times_.window_from;
    for (auto t = times_.window_from; t < times_.window_to; t += infos_[index(track)].track.period)
      into.values.push_back(code(course(seconds(t - skew))));
  }
  void turn(Slice& slice, TrackId track) const {
    auto& into = slice.tracks[index(track)];
    std::int64_t last = 0;
    for (std::uint64_t k = 0;; ++k) {
      const auto edge = product_->speed.wheel.edge(k);
      const double at = 1e-4 + static_cast<double>(edge.angle) / static_cast<double>(kFixedDegree) / 6 / 3500;
      if (at >= end()) return;
      if (!edges(at)) continue;
      const auto tick = std::llround(at * kTickRate);
      into.values.push_back(static_cast<std::int32_t>(((tick - last) << 1) | (edge.rising ? 1 : 0)));
      last = tick;
    }
  }

  std::shared_ptr<const Plan> plan_;
  const Product* product_ = nullptr;
  FaultTimes times_;
  std::vector<TrackInfo> infos_;
};

}  // namespace paper
