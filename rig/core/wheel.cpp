#include "rig/core/wheel.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "rig/core/number_text.hpp"

namespace rig {
namespace {

FixedAngle fixed(double degrees) { return std::llround(degrees * static_cast<double>(kFixedDegree)); }

}  // namespace

std::optional<std::string> Wheel::problem(const std::vector<WheelEdge>& edges) {
  if (edges.size() < 2) return "a wheel needs two edges or more in 720 degrees";
  if (edges.size() % 2 != 0) return "a wheel needs as many rising as falling edges";
  for (std::size_t i = 0; i < edges.size(); ++i) {
    const std::string where = "edge " + std::to_string(i + 1);
    if (edges[i].angle < 0 || edges[i].angle >= kFixedCycle) return where + " does not lie in 0 to 720 degrees";
    if (i == 0) continue;
    if (edges[i].angle <= edges[i - 1].angle) return where + " does not come after the edge before it";
    if (edges[i].rising == edges[i - 1].rising) return where + " goes the same way as the edge before it";
  }
  return std::nullopt;
}

Wheel::Wheel(std::vector<WheelEdge> edges) : edges_{std::move(edges)} { assert(!problem(edges_)); }

std::optional<std::string> Wheel::missing_tooth_problem(int positions, int missing, double duty) {
  if (positions < 1 || positions > 720) return "a missing-tooth wheel has 1 to 720 tooth positions";
  if (missing < 0 || missing >= positions) return "at least one tooth must be left";
  if (!(duty >= 0.01 && duty <= 0.99)) return "a tooth covers 0.01 to 0.99 of its pitch";
  return std::nullopt;
}

Wheel Wheel::missing_tooth(int positions, int missing, double duty) {
  assert(!missing_tooth_problem(positions, missing, duty));
  std::vector<WheelEdge> edges;
  edges.reserve(4 * static_cast<std::size_t>(positions - missing));
  for (int turn = 0; turn < 2; ++turn) {
    for (int tooth = 0; tooth < positions - missing; ++tooth) {
      // From the whole turn each time, so that a pitch that is no whole number of steps does not add up.
      const FixedAngle rise = turn * 360 * kFixedDegree + (tooth * 360 * kFixedDegree + positions / 2) / positions;
      edges.push_back({rise, true});
      edges.push_back({rise + fixed(duty * 360 / positions), false});
    }
  }
  return Wheel{std::move(edges)};
}

std::optional<std::string> Wheel::lobes_problem(const std::vector<Lobe>& lobes) {
  if (lobes.empty()) return "a cam wheel needs a lobe";
  double sum = 0;
  for (std::size_t i = 0; i < lobes.size(); ++i) {
    for (const double length : {lobes[i].low.value(), lobes[i].high.value()}) {
      if (!(length >= 0.1 && length < 720)) {
        return "lobe " + std::to_string(i + 1) + ": " + shortest_text(length) + " deg is not in 0.1 to 720 deg";
      }
      sum += length;
    }
  }
  if (std::abs(sum - 720) > 1e-6) return "the lobes' lengths add up to " + number_text(sum, 3) + " deg, not to 720 deg";
  return std::nullopt;
}

Wheel Wheel::lobes(const std::vector<Lobe>& lobes) {
  assert(!lobes_problem(lobes));
  std::vector<WheelEdge> edges;
  edges.reserve(2 * lobes.size());
  edges.push_back({0, false});  // the end of the last lobe
  double angle = 0;
  for (const Lobe& lobe : lobes) {
    angle += lobe.low.value();
    edges.push_back({fixed(angle), true});
    angle += lobe.high.value();
    edges.push_back({fixed(angle), false});
  }
  edges.pop_back();
  return Wheel{std::move(edges)};
}

WheelEdge Wheel::edge(std::uint64_t k) const {
  const std::uint64_t cycle = k / edges_.size();
  const WheelEdge& in_cycle = edges_[k % edges_.size()];
  return {static_cast<FixedAngle>(cycle) * kFixedCycle + in_cycle.angle, in_cycle.rising};
}

std::uint64_t Wheel::first_edge_at_or_after(FixedAngle angle) const {
  if (angle <= 0) return 0;
  const auto cycle = static_cast<std::uint64_t>(angle / kFixedCycle);
  const FixedAngle rest = angle % kFixedCycle;
  const auto found = std::lower_bound(edges_.begin(), edges_.end(), rest,
                                      [](const WheelEdge& edge, FixedAngle a) { return edge.angle < a; });
  return cycle * edges_.size() + static_cast<std::uint64_t>(found - edges_.begin());
}

CrankDegrees Wheel::longest_falling_interval() const {
  const std::uint64_t first = edges_.front().rising ? 1 : 0;
  FixedAngle longest = 0;
  for (std::uint64_t k = first; k < first + edges_.size(); k += 2) {
    longest = std::max(longest, edge(k + 2).angle - edge(k).angle);
  }
  return CrankDegrees{static_cast<double>(longest) / static_cast<double>(kFixedDegree)};
}

}  // namespace rig
