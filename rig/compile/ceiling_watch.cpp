#include "rig/compile/ceiling_watch.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"

namespace rig {
namespace {

/// Runs of bins outside, in a form that joins across segments. All lengths in bins.
struct Outside {
  double bins = 0, leading = 0, trailing = 0, longest = 0;
  double worst_kpa = 0;  ///< largest hidden pressure seen in a bin outside; negative: largest added
  static constexpr std::size_t kNumbers = 5;
};

Outside join(const Outside& a, const Outside& b) {
  Outside both;
  both.bins = a.bins + b.bins;
  both.leading = a.leading == a.bins ? a.bins + b.leading : a.leading;
  both.trailing = b.trailing == b.bins ? b.bins + a.trailing : b.trailing;
  both.longest = std::max({a.longest, b.longest, a.trailing + b.leading});
  both.worst_kpa = std::abs(b.worst_kpa) > std::abs(a.worst_kpa) ? b.worst_kpa : a.worst_kpa;
  return both;
}

class Ceiling final : public CompiledWatch {
 public:
  Ceiling(const Product& product, const BenchSetup& bench, const TrackMap& tracks)
      : product_{product}, bench_{bench}, tracks_{tracks} {}
  std::string_view name() const override { return "ceiling"; }
  int judge_version() const override { return 1; }

  Reduction look(const Slice& slice, const Scales& scales) const override {
    Reduction reduction{slice.record.id, {}, {}};
    const Readings readings{bench_, slice, scales};
    for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
      const auto outside = scan(c, readings);
      reduction.numbers.insert(reduction.numbers.end(),
                               {outside.bins, outside.leading, outside.trailing, outside.longest, outside.worst_kpa});
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
  /// nothing.
  std::optional<double> outside(std::size_t c, const Readings& readings, std::size_t bin) const {
    const auto& channel = product_.pressures[c];
    const auto& ceiling = channel.ceiling;
    const Volts sensor{readings.bin(tracks_.rails[channel.rail].sensor, bin).mean};
    const Volts controller{readings.bin(tracks_.rails[channel.rail].controller, bin).mean};
    if (sensor < product_.rails[channel.rail].lowest || controller < product_.rails[channel.rail].lowest)
      return std::nullopt;
    const auto in = readings.bin(tracks_.pressures[c].in, bin), out = readings.bin(tracks_.pressures[c].out, bin);
    const double scale = sensor / channel.curve.nominal_rail();
    if (in.low < channel.rails.low.value() * scale || in.high > channel.rails.high.value() * scale) return std::nullopt;
    const auto kpa = [&](double volts, Volts rail) { return channel.curve.pressure(Volts{volts}, rail); };
    const auto hidden = kpa(in.high, sensor) - kpa(out.low, controller);
    const auto added = kpa(out.high, controller) - kpa(in.low, sensor);
    if (hidden > ceiling.most_hidden) return hidden.value();
    if (added > ceiling.most_added) return -added.value();
    if (Volts{out.low} < ceiling.lowest_output || Volts{out.high} > ceiling.highest_output) return hidden.value();
    return std::nullopt;
  }

  Outside scan(std::size_t c, const Readings& readings) const {
    Outside all;
    const std::size_t bins = std::min(readings.bins(tracks_.pressures[c].in), readings.bins(tracks_.pressures[c].out));
    double run = 0;
    for (std::size_t b = 0; b < bins; ++b) {
      const auto by = outside(c, readings, b);
      run = by ? run + 1 : 0;
      if (by && all.leading == static_cast<double>(b)) all.leading += 1;
      all.longest = std::max(all.longest, run);
      if (by && std::abs(*by) > std::abs(all.worst_kpa)) all.worst_kpa = *by;
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
      const auto before = all.longest;
      all = join(all, {n[0], n[1], n[2], n[3], n[4]});
      if (all.longest > before) where = reduction.segment;
    }
    const Named what{id(channel), "ceiling", "ms"};
    if (all.bins == 0) return not_measured(what, "nothing was recorded");
    const double limit = seconds(channel.ceiling.longest_outside) * 1e3;
    auto finding =
        measured(what, all.longest, {}, {std::nullopt, limit}, 0, where ? std::optional{where} : std::nullopt);
    if (finding.verdict == Verdict::fail)
      finding.reason = fmt::format(
          "{} {} up to {:.1f} kPa, and stays beyond the product's hard ceiling for {:.0f} ms (allowed {:.0f} ms)",
          channel.name, all.worst_kpa >= 0 ? "hides" : "adds", std::abs(all.worst_kpa), all.longest, limit);
    return finding;
  }

  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
};

}  // namespace

std::unique_ptr<CompiledWatch> watch_ceiling(const Product& product, const BenchSetup& bench, const TrackMap& tracks) {
  return std::make_unique<Ceiling>(product, bench, tracks);
}

}  // namespace rig
