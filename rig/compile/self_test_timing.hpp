#pragma once

#include <string>
#include <vector>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/readings.hpp"

/// How soon the bench's own sources and senses follow a step, the unit cut off: a slow source would be blamed on the
/// unit's settling, a late sense on its delays and glitches.
namespace rig {

/// The mean lag of a track behind a step from one level to another at the segment's start: of filters in a row, the
/// sum of their time constants and delays, whatever the bins. In seconds; NaN where there was no such step.
double lag_behind_step(const Readings& readings, TrackId track, double from, Nanoseconds window);

/// Each source's settling against what it declares, and, looped back, the difference of its line's two senses in time
/// against their declared skews. REQUIRES: the segment begins with a step of every source from one level to the other.
std::vector<Finding> judge_timing(const std::string& step, const std::vector<BenchLine>& lines, Volts from, Volts to,
                                  const Readings& readings, Nanoseconds window);
/// Looped back, both edge captures see the very same copper: how far their edges lie apart, known delays taken off. A
/// skew of some microseconds would be blamed on the unit.
std::vector<Finding> judge_edge_skew(const std::string& step, const TrackMap& tracks, const Wheel& wheel, Rpm speed,
                                     const Readings& readings);
std::vector<std::string> edge_skew_ids(const std::string& step);
std::vector<std::string> timing_ids(const std::string& step, const BenchSetup& bench,
                                    const std::vector<BenchLine>& lines);

}  // namespace rig
