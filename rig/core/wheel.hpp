#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "rig/core/quantity.hpp"

namespace rig {

/// Angles are fixed point: 2^-32 crank degree, signed 64 bit (room for 2.9 million engine cycles).
using FixedAngle = std::int64_t;
constexpr FixedAngle kFixedDegree = FixedAngle{1} << 32;
constexpr FixedAngle kFixedCycle = 720 * kFixedDegree;

/// One change of level of a trigger wheel's signal.
struct WheelEdge {
  FixedAngle angle;  ///< 0 <= angle < kFixedCycle
  bool rising;       ///< the level after the edge
  friend bool operator==(const WheelEdge&, const WheelEdge&) = default;
};

/// A trigger wheel as its edges over one 720 degree cycle: angles strictly increasing, levels alternating, an even
/// count, at least two.
class Wheel {
 public:
  /// What is wrong with these edges, in words, or nothing.
  static std::optional<std::string> problem(const std::vector<WheelEdge>& edges);
  /// REQUIRES: !problem(edges).
  explicit Wheel(std::vector<WheelEdge> edges);
  /// A crank wheel of `positions` equal pitches of which the last `missing` of each turn carry no tooth ("60-2" is
  /// missing_tooth(60, 2)); a tooth is high for `duty` of its pitch, starting at the pitch's angle. Two turns a cycle.
  static Wheel missing_tooth(int positions, int missing, double duty = 0.5);
  /// Why there is no such missing-tooth wheel, in words, or nothing.
  static std::optional<std::string> missing_tooth_problem(int positions, int missing, double duty = 0.5);
  struct Lobe {
    CrankDegrees low, high;
  };
  /// Why these lobes make no wheel, in words, or nothing.
  static std::optional<std::string> lobes_problem(const std::vector<Lobe>& lobes);
  /// A cam wheel as alternating low and high lengths in crank degrees, starting low at angle 0; their sum is 720.
  static Wheel lobes(const std::vector<Lobe>& lobes);

  const std::vector<WheelEdge>& edges() const { return edges_; }
  /// Level just before angle 0 of a cycle (and so at 0 unless an edge lies there).
  bool level_before_start() const { return !edges_.front().rising; }
  /// The k-th edge counted from angle 0, k >= 0, over any number of cycles: its absolute angle and level.
  WheelEdge edge(std::uint64_t k) const;
  /// The number of the first edge at or after an absolute angle.
  std::uint64_t first_edge_at_or_after(FixedAngle angle) const;
  /// Falling edges a cycle.
  int falling_edges() const { return static_cast<int>(edges_.size() / 2); }
  /// The largest angle between two neighbouring falling edges: what a module that times falling edges waits longest
  /// for.
  CrankDegrees longest_falling_interval() const;

 private:
  std::vector<WheelEdge> edges_;
};

}  // namespace rig
