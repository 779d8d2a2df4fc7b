#include "rig/compile/looks.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

namespace rig {
namespace {

constexpr std::size_t kNumbers = 3;
constexpr Nanoseconds kShortestLevel{6'000'000};  ///< of a wheel that turns slowly: a few whole bins

struct Sum {
  double sum = 0, squares = 0, pivot = 0;
  std::size_t count = 0;
  double low = 0, high = 0;
  void take(const EnvelopeBin& bin) {
    if (count == 0) pivot = bin.mean, low = bin.low, high = bin.high;
    ++count;
    sum += bin.mean - pivot;
    squares += (bin.mean - pivot) * (bin.mean - pivot);
    low = std::min(low, bin.low), high = std::max(high, bin.high);
  }
  Look look(const Port& port) const {
    const auto n = static_cast<double>(count);
    if (count == 0) return {std::nan(""), 0, 0};
    const double scatter = count > 1 ? std::max(0.0, (squares - sum * sum / n) / (n - 1)) / n : 0;
    const double averaged = high - low >= 1.5 * port.resolution ? n : 1;
    const double value = pivot + sum / n;
    const double limit = port.accuracy.offset + port.accuracy.gain * std::abs(value);
    const double noise = port.resolution * port.resolution / 12 / averaged + scatter;
    return {value, 2 * std::sqrt(noise), 2 * std::sqrt(limit * limit / 3 + noise)};
  }
};

}  // namespace

Doubted change(const Look& a, const Look& b) { return {b.value - a.value, std::hypot(a.repeat, b.repeat)}; }

Doubted change_between(const Look& a_in, const Look& a_out, const Look& b_in, const Look& b_out) {
  return {(b_out.value - b_in.value) - (a_out.value - a_in.value),
          std::hypot(std::hypot(a_in.repeat, a_out.repeat), std::hypot(b_in.repeat, b_out.repeat))};
}

Reduction Looking::look(const Readings& readings) const {
  Reduction reduction{readings.slice().record.id, readings.trouble(), {}};
  if (!reduction.voided.empty()) return reduction;
  for (const auto track : tracks_) {
    const auto reading = readings.at_end(track, window_);
    if (reading.bins == 0) {
      const auto port = readings.scales().tracks[index(track)].track.port;
      reduction.voided = "port '" + readings.bench().ports[index(port)].name + "' gave no readings";
      reduction.numbers.clear();
      return reduction;
    }
    reduction.numbers.insert(reduction.numbers.end(), {reading.value, reading.repeatability, reading.uncertainty});
  }
  return reduction;
}

Look Looking::at(const Reduction& reduction, TrackId track) const {
  const auto found = std::find(tracks_.begin(), tracks_.end(), track);
  const auto* n = &reduction.numbers[kNumbers * static_cast<std::size_t>(found - tracks_.begin())];
  return {n[0], n[1], n[2]};
}

std::vector<TrackId> voltage_tracks(const TrackMap& tracks) {
  std::vector<TrackId> all;
  for (const auto& line : tracks.pressures) all.insert(all.end(), {line.in, line.out});
  if (tracks.temperature) all.insert(all.end(), {tracks.temperature->in, tracks.temperature->out});
  for (const auto& rail : tracks.rails) all.insert(all.end(), {rail.controller, rail.sensor});
  for (const auto& track : {tracks.speed_in, tracks.speed_out, tracks.ground})
    if (track) all.push_back(*track);
  return all;
}

std::string unsettled_input(const BenchSetup& bench, const Segment& segment, const Slice& slice, const Scales& scales) {
  const auto* until = std::get_if<Until>(&segment.end);
  if (!until) return {};
  for (std::size_t i = 0; i < until->conditions.size(); ++i) {
    const auto& condition = until->conditions[i];
    if (condition.module_output) continue;
    if (i < slice.record.settled.size() && slice.record.settled[i]) continue;
    return fmt::format("the bench's own source did not settle at '{}' in {} ms. Check its wire and source",
                       bench.ports[index(scales.tracks[index(condition.track)].track.port)].name,
                       until->time_out.count() / 1'000'000);
  }
  return {};
}

std::string first_void(std::span<const Reduction> reductions) {
  for (const auto& reduction : reductions)
    if (!reduction.voided.empty()) return reduction.voided;
  return {};
}

Levels levels_of(const Readings& readings, TrackId track, TrackId by, Nanoseconds window) {
  const auto& info = readings.scales().tracks[index(by)];
  const std::size_t all = std::min(readings.bins(by), readings.bins(track));
  const std::size_t first = all - std::min(all, static_cast<std::size_t>(window / info.track.period));
  double low = 0, high = 0;
  for (std::size_t b = first; b < all; ++b) {
    const auto bin = readings.bin(by, b);
    low = b == first ? bin.low : std::min(low, bin.low);
    high = b == first ? bin.high : std::max(high, bin.high);
  }
  Sum lows, highs;
  constexpr double kLeastSwing = 0.1;  // V; less is no signal
  for (std::size_t b = first; b < all; ++b) {
    const auto bin = readings.bin(by, b);
    constexpr double kWithin = 0.1;  // of the swing: no part of an edge in it
    if (high - low < kLeastSwing || bin.high - bin.low > kWithin * (high - low)) continue;
    (bin.mean < (low + high) / 2 ? lows : highs).take(readings.bin(track, b));
  }
  const auto& port = readings.bench().ports[index(readings.scales().tracks[index(track)].track.port)];
  return {lows.look(port), highs.look(port), lows.count, highs.count};
}

bool senses_speed_level(const Product& product, const BenchSetup& bench, const TrackMap& tracks) {
  const auto& speed = bench.wiring.speed;
  const bool pulled_up = product.speed.pull_up_at != PullUpPlace::module;
  return tracks.speed_in && tracks.speed_out && pulled_up && product.speed.routing == SpeedRouting::tapped &&
         speed.sense_in && speed.sense_out;
}

Rpm slow_turning(const Wheel& wheel) {
  const auto& edges = wheel.edges();
  FixedAngle shortest = kFixedCycle;
  for (std::size_t i = 0; i + 1 < edges.size(); ++i) shortest = std::min(shortest, edges[i + 1].angle - edges[i].angle);
  const double degrees = static_cast<double>(shortest) / static_cast<double>(kFixedDegree);
  const double most = degrees / 6 / seconds(kShortestLevel);
  return std::clamp(Rpm{std::floor(most / 10) * 10}, Rpm{60}, Rpm{600});
}

Nanoseconds cycle_at(Rpm speed) { return Nanoseconds{std::llround(120e9 / speed.value())}; }

}  // namespace rig
