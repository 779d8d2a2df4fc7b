#pragma once

#include <span>
#include <string>
#include <vector>

#include "rig/compile/plan.hpp"
#include "rig/compile/readings.hpp"

/// Looks at a bench's lines that are compared with each other once a step is over: what changed between two states.
namespace rig {

/// One track's mean over the end of a segment.
struct Look {
  double value = 0;
  double repeat = 0;  ///< expanded uncertainty of it in a difference at nearly the same value (Reading::repeatability)
  double full = 0;    ///< ... of it by itself
};

/// A value with its expanded uncertainty.
struct Doubted {
  double value = 0, doubt = 0;
};
/// b - a of the same track at nearly the same value: limits of error cancel.
Doubted change(const Look& a, const Look& b);
/// (b_out - b_in) - (a_out - a_in): what came between two tracks from one state to another.
Doubted change_between(const Look& a_in, const Look& a_out, const Look& b_in, const Look& b_out);

/// How a step keeps a look in its reduction: three numbers a track, for the tracks it names.
class Looking {
 public:
  explicit Looking(std::vector<TrackId> tracks, Nanoseconds window) : tracks_{std::move(tracks)}, window_{window} {}
  /// Voided when the segment has a gap, a flag or a track without readings.
  Reduction look(const Readings& readings) const;
  /// REQUIRES: the reduction is one of look()'s and not voided, the track is among its tracks.
  Look at(const Reduction& reduction, TrackId track) const;
  std::size_t numbers() const { return 3 * tracks_.size(); }
  Nanoseconds window() const { return window_; }

 private:
  std::vector<TrackId> tracks_;
  Nanoseconds window_;
};

/// All tracks of voltages on the unit's lines, rails, speed line and ground.
std::vector<TrackId> voltage_tracks(const TrackMap& tracks);

/// Why an until-segment says nothing: an input of it did not settle. Empty when all is well.
std::string unsettled_input(const BenchSetup& bench, const Segment& segment, const Slice& slice, const Scales& scales);

/// The first reason among reductions why nothing can be said, or empty.
std::string first_void(std::span<const Reduction> reductions);

/// Mean levels of a two-level signal over the bins that lie wholly in one level, and how sure they are.
struct Levels {
  Look low, high;
  std::size_t low_bins = 0, high_bins = 0;
};
/// Which level a bin belongs to is taken from `by`, a track of the same line.
Levels levels_of(const Readings& readings, TrackId track, TrackId by, Nanoseconds window);

/// Whether the speed line's levels can be looked at on this bench.
bool senses_speed_level(const Product& product, const BenchSetup& bench, const TrackMap& tracks);
/// Slow enough that whole bins lie within the wheel's shortest level.
Rpm slow_turning(const Wheel& wheel);
Nanoseconds cycle_at(Rpm speed);

}  // namespace rig
