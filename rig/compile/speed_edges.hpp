#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "rig/core/recording.hpp"

/// The edges on both sides of the module, held against each other.
namespace rig {

/// How the edges of one side lie to those of the other, each capture's known delay taken off. Times in microseconds,
/// positive when the out side is later.
struct EdgePairs {
  std::size_t in = 0;                           ///< edges on the sensor's side within the stretch
  std::size_t missing = 0;                      ///< of these, without a partner on the controller's side
  std::size_t extra = 0;                        ///< on the controller's side, without a partner on the sensor's
  std::optional<double> rising_us, falling_us;  ///< mean of each kind of edge
  double spread_us = 0;                         ///< largest less smallest within one kind
};

/// Pairs the edges at or after `from` and before `to` with the nearest one of the same kind on the other side, no
/// further away than `reach`, each with one at most.
EdgePairs pair_edges(const std::vector<RecordedEdge>& in, const std::vector<RecordedEdge>& out, BenchTime from,
                     BenchTime to, Nanoseconds reach);

/// The edges of a slice with the capture's known delay taken off.
std::vector<RecordedEdge> true_edges(const Slice& slice, const TrackInfo& info, TrackId track, std::uint32_t tick_rate);

/// How much the falling edges of a steady signal wander from cycle to cycle, peak to peak, in microseconds; nothing
/// with fewer than three cycles. `a_cycle`: falling edges in one.
std::optional<double> wander_us(const std::vector<RecordedEdge>& edges, std::size_t a_cycle, BenchTime from,
                                BenchTime to);

}  // namespace rig
