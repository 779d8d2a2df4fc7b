#include "rig/compile/supply_strips.hpp"

#include <algorithm>

namespace rig {
namespace {

constexpr Nanoseconds kBin{1'000'000};
constexpr std::size_t kMostPoints = 500;  ///< of a signal; a picture shows no more

std::size_t bins_a_point(std::size_t bins) { return (bins + kMostPoints - 1) / kMostPoints; }

Strip::Signal signal(std::string name, bool input, const Readings& readings, TrackId track, std::size_t bins) {
  Strip::Signal drawn{std::move(name), "V", input, {}, {}};
  const auto step = bins_a_point(bins);
  for (std::size_t b = 0; b < bins; ++b) {
    const auto bin = readings.bin(track, b);
    if (b % step == 0) {
      drawn.low.push_back(bin.low), drawn.high.push_back(bin.high);
    } else {
      drawn.low.back() = std::min(drawn.low.back(), bin.low), drawn.high.back() = std::max(drawn.high.back(), bin.high);
    }
  }
  return drawn;
}

/// One lane for each stretch in which the same is owed and the limits hardly move.
std::vector<Strip::Lane> lanes(const std::string& name, const SupplySegment& segment, std::size_t channel) {
  constexpr double kMoves = 0.02;  // V
  const auto limits = segment.lanes(channel);
  std::vector<Strip::Lane> drawn;
  for (std::size_t b = 0; b < limits.size(); ++b) {
    const bool goes_on = b > 0 && segment.must(b) == segment.must(b - 1) &&
                         std::abs(limits[b].low - drawn.back().low) < kMoves &&
                         std::abs(limits[b].high - drawn.back().high) < kMoves;
    const auto from = static_cast<std::int64_t>(b) * kBin;
    if (!goes_on) drawn.push_back({name, from, from, limits[b].low, limits[b].high});
    drawn.back().to = from + kBin;
    drawn.back().low = std::min(drawn.back().low, limits[b].low);
    drawn.back().high = std::max(drawn.back().high, limits[b].high);
  }
  return drawn;
}

/// Of what this segment shows by itself: a fail where the output surely left what it owes.
Verdict verdict_of(const SupplySegment& segment, const Readings& readings, const TrackMap& tracks,
                   std::size_t channel) {
  const auto followed = segment.followed();
  if (!readings.trouble().empty() || followed.off_v > followed.allowed) return Verdict::void_;
  const auto limits = segment.lanes(channel);
  for (std::size_t b = 0; b < limits.size(); ++b) {
    const double out = readings.bin(tracks.pressures[channel].out, b).mean;
    if (segment.must(b) != SupplyMust::either && (out < limits[b].low || out > limits[b].high)) return Verdict::fail;
  }
  return Verdict::pass;
}

}  // namespace

Strip supply_strip(std::string title, std::string finding, const Product& product, const TrackMap& tracks,
                   const PlayedCourse& course, const SupplySegment& segment, const Readings& readings,
                   std::size_t channel) {
  Strip strip;
  strip.title = std::move(title), strip.finding = std::move(finding);
  const auto bins = segment.bins();
  strip.length = static_cast<std::int64_t>(bins) * kBin;
  const auto& line = tracks.pressures[channel];
  const auto name = product.pressures[channel].name;
  strip.signals.push_back(course.rail ? signal(product.rails[*course.rail].name, true, readings,
                                               tracks.rails[*course.rail].controller, bins)
                                      : signal("battery", true, readings, tracks.battery, bins));
  strip.signals.push_back(signal(name + ", in", true, readings, line.in, bins));
  strip.signals.push_back(signal(name + ", out", false, readings, line.out, bins));
  strip.lanes = lanes(name + ", out", segment, channel);
  strip.verdict = verdict_of(segment, readings, tracks, channel);
  return strip;
}

}  // namespace rig
