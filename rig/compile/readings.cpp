#include "rig/compile/readings.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

constexpr std::size_t kFields = 3;  // minimum, maximum, mean

double calibrated(const Calibration& calibration, double physical) {
  return (physical + calibration.offset) * calibration.gain;
}

}  // namespace

std::size_t Readings::bins(TrackId track) const { return slice_->tracks[index(track)].values.size() / kFields; }

EnvelopeBin Readings::bin(TrackId track, std::size_t i) const {
  const auto& info = scales_.tracks[index(track)];
  const auto& calibration = bench_->calibration[index(info.track.port)];
  const auto raw = envelope_bin(info, slice_->tracks[index(track)], i);
  return {calibrated(calibration, raw.low), calibrated(calibration, raw.high), calibrated(calibration, raw.mean)};
}

Reading Readings::at_end(TrackId track, Nanoseconds window) const {
  const auto period = scales_.tracks[index(track)].track.period;
  const auto wanted = static_cast<std::size_t>(std::max<std::int64_t>(1, window / period));
  const std::size_t all = bins(track), n = std::min(all, wanted);
  return over(track, all - n, n);
}

Reading Readings::over(TrackId track, std::size_t first, std::size_t wanted) const {
  const auto& port = bench_->ports[index(scales_.tracks[index(track)].track.port)];
  const std::size_t all = bins(track);
  const std::size_t n = first < all ? std::min(wanted, all - first) : 0;
  Reading reading;
  reading.bins = n;
  if (n == 0) return reading;

  double sum = 0, squares = 0;
  const double pivot = bin(track, first + n - 1).mean;  // deviations from it, so that no digits cancel
  reading.low = reading.high = pivot;
  for (std::size_t i = first; i < first + n; ++i) {
    const auto one = bin(track, i);
    sum += one.mean - pivot;
    squares += (one.mean - pivot) * (one.mean - pivot);
    reading.low = std::min(reading.low, one.low);
    reading.high = std::max(reading.high, one.high);
  }
  const double count = static_cast<double>(n);
  reading.value = pivot + sum / count;
  const double scatter = n > 1 ? std::max(0.0, (squares - sum * sum / count) / (count - 1)) / count : 0.0;
  // JCGM 100:2008, 4.3.7: a limit of error a gives a/sqrt(3); a step q gives q/sqrt(12).
  const double limit = port.accuracy.offset + port.accuracy.gain * std::abs(reading.value);
  reading.uncertainty = 2 * std::sqrt(limit * limit / 3 + port.resolution * port.resolution / 12 / count + scatter);
  // Means only resolve more than a converter's step where noise spreads the conversions over more than one of them.
  const double averaged = reading.peak_to_peak() >= 1.5 * port.resolution ? count : 1;
  reading.repeatability = 2 * std::sqrt(port.resolution * port.resolution / 12 / averaged + scatter);
  return reading;
}

std::string Readings::trouble(const AtTheirLimits& expected) const {
  const auto is_expected = [&](const RigFlag& flag) {
    if (!flag.port || std::find(expected.ports.begin(), expected.ports.end(), *flag.port) == expected.ports.end())
      return false;
    if (flag.kind == RigFlag::Kind::current_limited) return true;
    const auto at = flag.at - slice_->record.start;
    return flag.kind == RigFlag::Kind::saturated && at >= expected.from && at <= expected.to;
  };
  for (const auto& flag : slice_->flags) {
    if (is_expected(flag)) continue;
    std::string text = flag.text;
    if (flag.port) text += " (port '" + bench_->ports[index(*flag.port)].name + "')";
    return text;
  }
  for (std::size_t i = 0; i < slice_->tracks.size(); ++i) {
    if (!slice_->tracks[i].gap) continue;
    return "readings of port '" + bench_->ports[index(scales_.tracks[i].track.port)].name + "' were lost on the way";
  }
  return {};
}

std::size_t edge_count(const TrackSlice& edges) { return edges.values.size(); }

std::optional<MeasuredSpeed> measured_speed(const TrackSlice& slice, const Wheel& wheel, Rpm about,
                                            std::uint32_t tick_rate) {
  // Arcs between neighbouring falling edges of the wheel.
  std::vector<double> arcs;
  std::vector<double> falling_angles;
  for (const auto& edge : wheel.edges())
    if (!edge.rising) falling_angles.push_back(static_cast<double>(edge.angle) / static_cast<double>(kFixedDegree));
  for (std::size_t i = 0; i < falling_angles.size(); ++i) {
    const double next = i + 1 < falling_angles.size() ? falling_angles[i + 1] : falling_angles.front() + 720.0;
    const double arc = next - falling_angles[i];
    if (std::none_of(arcs.begin(), arcs.end(), [&](double a) { return std::abs(a - arc) < 1e-6; })) arcs.push_back(arc);
  }

  // Ticks add up from the block's first time; only differences matter here.
  std::int64_t tick = 0, first = -1, last = -1;
  double angle = 0;
  const double degrees_per_tick = about.value() * 6.0 / tick_rate;
  for (const auto value : slice.values) {
    tick += value >> 1;
    if (value & 1) continue;
    if (first < 0) {
      first = last = tick;
      continue;
    }
    const double seen = static_cast<double>(tick - last) * degrees_per_tick;
    angle += *std::min_element(arcs.begin(), arcs.end(),
                               [&](double a, double b) { return std::abs(a - seen) < std::abs(b - seen); });
    last = tick;
  }
  if (last <= first) return std::nullopt;
  const double ticks = static_cast<double>(last - first);
  const double rpm = angle / (ticks / tick_rate) / 6.0;
  // Two edges, each rounded to a tick: q/sqrt(6) (JCGM 100:2008, F.2.2.1).
  return MeasuredSpeed{Rpm{rpm}, Rpm{2 * rpm * 0.408248 / ticks}};
}

}  // namespace rig
