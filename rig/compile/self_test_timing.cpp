#include "rig/compile/self_test_timing.hpp"

#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/speed_edges.hpp"

namespace rig {
namespace {

constexpr double kFilters = 0.3;     ///< how far a filter's time constant may lie from what is stated (no source)
constexpr double kSources = 1.0;     ///< ... and a source's: twice as slow still settles in no time
constexpr double kEdgesApart = 0.5;  ///< us; of two captures beside what they declare: comparators, copper (no source)
constexpr double kClock = 0.005e-3;  ///< s; of a step's time against the bins it is seen in

double ms(double s) { return s * 1e3; }

/// Filter, delay and half a look.
double stated_lag(const Port& sense) {
  return seconds(sense.settling) + seconds(sense.skew) + seconds(sense.aperture) / 2;
}
double lag_error(const Port& sense) {
  return seconds(sense.skew_error) + seconds(sense.aperture) / 2 + kFilters * seconds(sense.settling) + kClock;
}

}  // namespace

double lag_behind_step(const Readings& readings, TrackId track, double from, Nanoseconds window) {
  const auto end = readings.at_end(track, window);
  const std::size_t bins = readings.bins(track);
  if (end.bins == 0 || std::abs(end.value - from) < 0.1) return std::nan("");
  const double period = seconds(readings.scales().tracks[index(track)].track.period);
  double area = 0;
  for (std::size_t b = 0; b < bins; ++b) area += (end.value - readings.bin(track, b).mean) * period;
  return area / (end.value - from);
}

std::vector<std::string> timing_ids(const std::string& step, const BenchSetup& bench,
                                    const std::vector<BenchLine>& lines) {
  std::vector<std::string> ids;
  for (const auto& line : lines) {
    ids.push_back(fmt::format("{}/settling/{}", step, line.name));
    if (bench.wiring.loop_back) ids.push_back(fmt::format("{}/skew/{}", step, line.name));
  }
  return ids;
}

std::vector<Finding> judge_timing(const std::string& step, const std::vector<BenchLine>& lines, Volts from, Volts to,
                                  const Readings& readings, Nanoseconds window) {
  const auto& bench = readings.bench();
  const auto segment = readings.slice().record.id;
  std::vector<Finding> findings;
  for (const auto& line : lines) {
    const auto& source = bench.ports[index(line.wiring->source)];
    const auto& in = bench.ports[index(line.wiring->sense_in)];
    const auto& out = bench.ports[index(line.wiring->sense_out)];
    const double lag = lag_behind_step(readings, line.tracks.in, from.value(), window);
    const double slew = source.slew_per_second > 0 ? std::abs((to - from).value()) / source.slew_per_second / 2 : 0;
    const double most = (1 + kSources) * seconds(source.settling) + slew + lag_error(in) + kClock;
    findings.push_back(
        rig::of_the_rig(measured({fmt::format("{}/settling/{}", step, line.name), step, "ms"}, ms(lag - stated_lag(in)),
                                 {}, {std::nullopt, ms(most)}, ms(kClock), segment),
                        fmt::format("Source '{}' of {} is slower than stated, or '{}' sees it late: check it",
                                    source.name, line.name, in.name)));
    if (!bench.wiring.loop_back) continue;
    const double lag_out = lag_behind_step(readings, line.tracks.out, from.value(), window);
    const double apart = (lag_out - stated_lag(out)) - (lag - stated_lag(in));
    const double allowed = lag_error(in) + lag_error(out);
    findings.push_back(rig::of_the_rig(
        measured({fmt::format("{}/skew/{}", step, line.name), step, "ms"}, ms(apart), 0.0, {-ms(allowed), ms(allowed)},
                 ms(kClock), segment),
        fmt::format("'{}' and '{}' do not see the same step at the same time: correct their skew in the bench file",
                    in.name, out.name)));
  }
  return findings;
}

std::vector<std::string> edge_skew_ids(const std::string& step) {
  return {step + "/edge_skew/rising", step + "/edge_skew/falling"};
}

std::vector<Finding> judge_edge_skew(const std::string& step, const TrackMap& tracks, const Wheel& wheel, Rpm speed,
                                     const Readings& readings) {
  const auto& slice = readings.slice();
  const auto& bench = readings.bench();
  const auto edges = [&](TrackId track) {
    return true_edges(slice, readings.scales().tracks[index(track)], track, readings.scales().tick_rate);
  };
  // No further than a quarter of an interval: further away is another edge.
  const Nanoseconds reach{std::llround(wheel.longest_falling_interval().value() / (6.0 * speed.value()) * 1e9 / 4)};
  const auto pairs =
      pair_edges(edges(tracks.edges_in), edges(tracks.edges_out), slice.record.start, slice.record.end, reach);
  const auto& in = bench.ports[index(bench.wiring.speed.edges_in)];
  const auto& out = bench.ports[index(bench.wiring.speed.edges_out)];
  const double allowed = (seconds(in.skew_error) + seconds(out.skew_error)) * 1e6 + kEdgesApart;
  std::vector<Finding> findings;
  for (const auto& id : edge_skew_ids(step)) {
    const auto& apart = id.ends_with("rising") ? pairs.rising_us : pairs.falling_us;
    findings.push_back(rig::of_the_rig(
        measured({id, step, "us"}, apart.value_or(std::nan("")), 0.0, {-allowed, allowed}, 0, slice.record.id),
        fmt::format("'{}' and '{}' do not see the same edge at the same time: correct their skew in the bench file, or "
                    "have them seen to",
                    in.name, out.name)));
  }
  return findings;
}

}  // namespace rig
