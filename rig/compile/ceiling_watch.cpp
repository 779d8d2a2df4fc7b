#include "rig/compile/ceiling_watch.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"

namespace rig {
namespace {

/// A stretch of neighbouring bins outside, and how far outside its last bin is: in kPa hidden (positive) or added.
struct Stretch {
  double bins = 0, kpa = 0;
};
Stretch longer(const Stretch& a, const Stretch& b) { return b.bins > a.bins ? b : a; }
Stretch joined(const Stretch& first, const Stretch& then) {
  return then.bins > 0 ? Stretch{first.bins + then.bins, then.kpa} : first;
}

/// The stretches of a segment, in a form that joins across segments.
struct Outside {
  double bins = 0;  ///< in all, outside or not
  Stretch leading, trailing, longest;
  static constexpr std::size_t kNumbers = 7;
};

Outside join(const Outside& a, const Outside& b) {
  Outside both;
  both.bins = a.bins + b.bins;
  both.leading = a.leading.bins == a.bins ? joined(a.leading, b.leading) : a.leading;
  both.trailing = b.trailing.bins == b.bins ? joined(a.trailing, b.trailing) : b.trailing;
  both.longest = longer(longer(a.longest, b.longest), joined(a.trailing, b.leading));
  return both;
}

class Ceiling final : public CompiledWatch {
 public:
  Ceiling(const Product& product, const BenchSetup& bench, const TrackMap& tracks, std::vector<Disturbed> disturbed)
      : product_{product}, bench_{bench}, tracks_{tracks}, disturbed_{std::move(disturbed)} {}
  std::string_view name() const override { return "ceiling"; }
  int judge_version() const override { return 2; }

  Reduction look(const Slice& slice, const Scales& scales) const override {
    Reduction reduction{slice.record.id, {}, {}};
    const Readings readings{bench_, slice, scales};
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
      const auto outside = scan(c, readings);
      reduction.numbers.insert(reduction.numbers.end(),
                               {outside.bins, outside.leading.bins, outside.leading.kpa, outside.trailing.bins,
                                outside.trailing.kpa, outside.longest.bins, outside.longest.kpa});
    }
    return reduction;
  }

  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    std::vector<Finding> findings;
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) findings.push_back(conclude_channel(c, reductions));
    return findings;
  }

  std::vector<std::string> characteristics() const override {
    std::vector<std::string> ids;
    for (const auto& channel : product_.pressures) ids.push_back(id(channel));
    return ids;
  }

 private:
  static std::string id(const PressureChannel& channel) { return "ceiling/" + channel.name; }

  /// How far outside one bin is, in kPa hidden (positive) or added (negative); nothing when it is inside, or says
  /// nothing. An output answers to its input late, by the product's latency and its largest time constant: what the
  /// input was within that time counts as well, or every lift of the throttle would look like pressure added.
  std::optional<double> outside(std::size_t c, const Readings& readings, std::size_t bin) const {
    const auto& channel = product_.pressures[c];
    const auto& ceiling = channel.ceiling;
    const Volts sensor{readings.bin(tracks_.rails[channel.rail].sensor, bin).mean};
    const Volts controller{readings.bin(tracks_.rails[channel.rail].controller, bin).mean};
    if (sensor < product_.rails[channel.rail].lowest || controller < product_.rails[channel.rail].lowest)
      return std::nullopt;
    auto in = readings.bin(tracks_.pressures[c].in, bin);
    const auto out = readings.bin(tracks_.pressures[c].out, bin);
    const double scale = sensor / channel.curve.nominal_rail();
    if (in.low < channel.rails.low.value() * scale || in.high > channel.rails.high.value() * scale) return std::nullopt;
    double least = in.high, most = in.low;  // of what the output may be answering to
    for (std::size_t back = 0; back <= std::min(bin, lag_in_bins(readings)); ++back) {
      in = readings.bin(tracks_.pressures[c].in, bin - back);
      least = std::min(least, in.high), most = std::max(most, in.low);
    }
    const auto kpa = [&](double volts, Volts rail) { return channel.curve.pressure(Volts{volts}, rail); };
    const auto hidden = kpa(least, sensor) - kpa(out.low, controller);
    const auto added = kpa(out.high, controller) - kpa(most, sensor);
    if (hidden > ceiling.most_hidden) return hidden.value();
    if (added > ceiling.most_added) return -added.value();
    if (Volts{out.low} < ceiling.lowest_output || Volts{out.high} > ceiling.highest_output) return hidden.value();
    return std::nullopt;
  }

  std::size_t lag_in_bins(const Readings& readings) const {
    const auto period = readings.scales().tracks[index(tracks_.pressures.front().in)].track.period;
    return static_cast<std::size_t>((product_.timing.latency + product_.timing.slowest) / period);
  }

  /// Differences in volts that are inside whatever the rails do within this segment: most bins need no more than that.
  struct Clearly {
    double hidden_v, added_v;
  };
  Clearly clearly_inside(std::size_t c, const Readings& readings) const {
    const auto& channel = product_.pressures[c];
    const auto& rail = tracks_.rails[channel.rail];
    double lowest = channel.curve.nominal_rail().value(), apart = 0;
    for (std::size_t b = 0; b < std::min(readings.bins(rail.sensor), readings.bins(rail.controller)); ++b) {
      const double sensor = readings.bin(rail.sensor, b).mean, controller = readings.bin(rail.controller, b).mean;
      lowest = std::min({lowest, sensor, controller});
      apart = std::max(apart, std::abs(sensor - controller));
    }
    const auto& points = channel.curve.points();
    double slope = points[1].volts.value();  // least volts per kilopascal
    for (std::size_t i = 1; i < points.size(); ++i)
      slope = std::min(slope, (points[i].volts - points[i - 1].volts).value() /
                                  (points[i].pressure - points[i - 1].pressure).value());
    slope *= lowest / channel.curve.nominal_rail().value();
    // A reading scales with its rail: rails that differ move a full-scale reading by as much.
    return {channel.ceiling.most_hidden.value() * slope - apart, channel.ceiling.most_added.value() * slope - apart};
  }

  bool is_clearly_inside(const Clearly& clearly, std::size_t c, const Readings& readings, std::size_t bin) const {
    const auto in = readings.bin(tracks_.pressures[c].in, bin), out = readings.bin(tracks_.pressures[c].out, bin);
    const auto& ceiling = product_.pressures[c].ceiling;
    return in.high - out.low < clearly.hidden_v && out.high - in.low < clearly.added_v &&
           out.low >= ceiling.lowest_output.value() && out.high <= ceiling.highest_output.value();
  }

  /// Whether the bench itself forces this output in this bin.
  static bool is_forced(std::span<const Disturbed> here, const Readings& readings, std::size_t bin) {
    const auto period = readings.scales().tracks.front().track.period;
    const auto at = static_cast<std::int64_t>(bin) * period;
    return std::any_of(here.begin(), here.end(), [&](const Disturbed& d) { return at + period > d.from && at < d.to; });
  }
  std::vector<Disturbed> disturbed_in(std::uint32_t segment, std::size_t c) const {
    std::vector<Disturbed> here;
    for (const auto& one : disturbed_)
      if (one.segment == segment && one.pressure == c) here.push_back(one);
    return here;
  }

  Outside scan(std::size_t c, const Readings& readings) const {
    const auto clearly = clearly_inside(c, readings);
    const auto forced = disturbed_in(readings.slice().record.id, c);
    Outside all;
    const std::size_t bins = std::min(readings.bins(tracks_.pressures[c].in), readings.bins(tracks_.pressures[c].out));
    Stretch run;
    for (std::size_t b = 0; b < bins; ++b) {
      const bool fine = is_clearly_inside(clearly, c, readings, b) || is_forced(forced, readings, b);
      const auto by = fine ? std::nullopt : outside(c, readings, b);
      run = by ? Stretch{run.bins + 1, *by} : Stretch{};
      if (by && all.leading.bins == static_cast<double>(b)) all.leading = run;
      all.longest = longer(all.longest, run);
    }
    all.bins = static_cast<double>(bins);
    all.trailing = run;
    return all;
  }

  Finding conclude_channel(std::size_t c, std::span<const Reduction> reductions) const {
    const auto& channel = product_.pressures[c];
    Outside all;
    std::uint32_t where = 0;
    for (const auto& reduction : reductions) {
      const auto* n = &reduction.numbers[c * Outside::kNumbers];
      const auto before = all.longest.bins;
      all = join(all, {n[0], {n[1], n[2]}, {n[3], n[4]}, {n[5], n[6]}});
      if (all.longest.bins > before) where = reduction.segment;
    }
    const Named what{id(channel), "ceiling", "ms"};
    if (all.bins == 0) return not_measured(what, "nothing was recorded");
    const double limit = seconds(channel.ceiling.longest_outside) * 1e3;
    auto finding =
        measured(what, all.longest.bins, {}, {std::nullopt, limit}, 0, where ? std::optional{where} : std::nullopt);
    if (finding.verdict == Verdict::fail)
      finding.reason = fmt::format(
          "{} {} {:.1f} kPa, more than the product may ever do, for {:.0f} ms at a stretch (allowed {:.0f} ms)",
          channel.name, all.longest.kpa >= 0 ? "hides" : "adds", std::abs(all.longest.kpa), all.longest.bins, limit);
    return finding;
  }

  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<Disturbed> disturbed_;
};

}  // namespace

std::unique_ptr<CompiledWatch> watch_ceiling(const Product& product, const BenchSetup& bench, const TrackMap& tracks,
                                             std::vector<Disturbed> disturbed) {
  return std::make_unique<Ceiling>(product, bench, tracks, std::move(disturbed));
}

}  // namespace rig
