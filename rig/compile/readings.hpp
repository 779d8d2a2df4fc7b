#pragma once

#include <optional>
#include <span>
#include <string>

#include "rig/compile/plan.hpp"

/// What a judge reads off a slice: calibrated values with their uncertainty.
namespace rig {

/// The mean of an envelope track over the end of a segment, in the port's unit.
struct Reading {
  double value = 0;
  double uncertainty =
      0;  ///< expanded, k = 2: the port's limit of error (rectangular), its resolution, this reading's own scatter
  double repeatability = 0;  ///< expanded, k = 2: what is left of it in a difference of two readings of one port at
                             ///< nearly the same value: resolution and scatter, while the limit of error cancels
  double low = 0, high = 0;  ///< extremes of all conversions
  std::size_t bins = 0;      ///< 0: there was nothing to read
  double peak_to_peak() const { return high - low; }
};

class Readings {
 public:
  Readings(const BenchSetup& bench, const Slice& slice, const Scales& scales)
      : bench_{&bench}, slice_{&slice}, scales_{scales} {}

  /// Over the last `window` of the segment (all of it, if it is shorter).
  Reading at_end(TrackId track, Nanoseconds window) const;
  /// Over `count` bins from bin `first` on; fewer where the segment has fewer.
  Reading over(TrackId track, std::size_t first, std::size_t count) const;
  std::size_t bins(TrackId track) const;
  /// One bin, calibrated. REQUIRES: i < bins(track).
  EnvelopeBin bin(TrackId track, std::size_t i) const;
  /// Why nothing may be said of this segment: a gap in a track, or a flag of the rig. Empty when all is well.
  std::string trouble() const { return trouble(AtTheirLimits{}); }
  /// Ports that the fault being played drives to their limits, as it must: sources at their current limit, senses at
  /// their range's end; the latter only while it is there. A source tells of its limit once a segment, at any moment.
  struct AtTheirLimits {
    std::span<const PortId> ports = {};
    Nanoseconds from{0}, to{0};  ///< from the segment's start
  };
  std::string trouble(const AtTheirLimits& expected) const;
  const Slice& slice() const { return *slice_; }
  const Scales& scales() const { return scales_; }
  const BenchSetup& bench() const { return *bench_; }

 private:
  const BenchSetup* bench_;
  const Slice* slice_;
  Scales scales_;
};

/// Speed from the falling edges of a slice, given the wheel and roughly what speed to expect (to know which arc of an
/// uneven wheel lies between two edges). Nothing with fewer than two falling edges.
struct MeasuredSpeed {
  Rpm value;
  Rpm uncertainty;  ///< from the ticks, k = 2
};
std::optional<MeasuredSpeed> measured_speed(const TrackSlice& edges, const Wheel& wheel, Rpm about,
                                            std::uint32_t tick_rate);

/// How many edges a slice holds.
std::size_t edge_count(const TrackSlice& edges);

}  // namespace rig
