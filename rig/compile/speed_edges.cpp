#include "rig/compile/speed_edges.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

double microseconds(Nanoseconds d) { return static_cast<double>(d.count()) / 1e3; }

/// Shifts of one kind of edge, as they come.
struct Shifts {
  double sum = 0, lowest = 0, highest = 0;
  std::size_t count = 0;
  void take(double shift) {
    lowest = count ? std::min(lowest, shift) : shift;
    highest = count ? std::max(highest, shift) : shift;
    sum += shift;
    ++count;
  }
  std::optional<double> mean() const { return count ? std::optional{sum / static_cast<double>(count)} : std::nullopt; }
};

}  // namespace

std::vector<RecordedEdge> true_edges(const Slice& slice, const TrackInfo& info, TrackId track,
                                     std::uint32_t tick_rate) {
  auto edges = recorded_edges(slice.tracks[index(track)], tick_rate);
  for (auto& edge : edges) edge.at = edge.at - info.clock.skew;
  return edges;
}

EdgePairs pair_edges(const std::vector<RecordedEdge>& in, const std::vector<RecordedEdge>& out, BenchTime from,
                     BenchTime to, Nanoseconds reach) {
  EdgePairs pairs;
  Shifts rising, falling;
  std::vector<bool> taken(out.size(), false);
  std::size_t start = 0;
  for (const auto& edge : in) {
    while (start < out.size() && out[start].at < edge.at - reach) ++start;
    std::size_t nearest = out.size();
    Nanoseconds distance = reach;
    for (std::size_t j = start; j < out.size() && out[j].at <= edge.at + reach; ++j) {
      const auto away = out[j].at < edge.at ? edge.at - out[j].at : out[j].at - edge.at;
      if (taken[j] || out[j].rising != edge.rising || (nearest != out.size() && away >= distance)) continue;
      nearest = j;
      distance = away;
    }
    // Edges before and after the stretch keep their partners out of it.
    if (nearest != out.size()) taken[nearest] = true;
    if (edge.at < from || edge.at >= to) continue;
    ++pairs.in;
    if (nearest == out.size()) {
      ++pairs.missing;
      continue;
    }
    (edge.rising ? rising : falling).take(microseconds(out[nearest].at - edge.at));
  }
  for (std::size_t j = 0; j < out.size(); ++j)
    if (!taken[j] && out[j].at >= from && out[j].at < to) ++pairs.extra;
  pairs.rising_us = rising.mean();
  pairs.falling_us = falling.mean();
  pairs.spread_us = std::max(rising.highest - rising.lowest, falling.highest - falling.lowest);
  return pairs;
}

std::optional<double> wander_us(const std::vector<RecordedEdge>& edges, std::size_t a_cycle, BenchTime from,
                                BenchTime to) {
  std::vector<double> falling;
  for (const auto& edge : edges)
    if (!edge.rising && edge.at >= from && edge.at < to) falling.push_back(microseconds(edge.at - from));
  if (falling.size() < 3 * a_cycle) return std::nullopt;
  double lowest = 0, highest = 0;
  for (std::size_t i = a_cycle; i < falling.size(); ++i) {
    const double cycle = falling[i] - falling[i - a_cycle];
    lowest = i == a_cycle ? cycle : std::min(lowest, cycle);
    highest = i == a_cycle ? cycle : std::max(highest, cycle);
  }
  return highest - lowest;
}

}  // namespace rig
