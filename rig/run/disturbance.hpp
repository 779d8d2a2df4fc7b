#pragma once

#include <map>
#include <optional>
#include <string>

#include "rig/compile/plan.hpp"

/// When nothing could be said of a segment: was it the rig, or may the unit be behind it?
///
/// Never the unit's doing, whatever else is there: readings lost on the way; flags of gap, link, clock, underrun, board
/// error, interlock; a segment that was stopped. Nor is any void of a step about the rig or about how the unit sits,
/// nor one without any of the signs below: a missing baseline, a program that could not be started.
///
/// Perhaps the unit's doing, so the bench is tested alone: in a segment without any of those
///   - a sense at the end of its range, or a source at its current limit, or a supply that the bench flagged;
///   - an input that does not settle until the segment's time is up (the source alone would);
///   - the battery or a 5 V rail, asked to be within the product's limits, reads outside them at the segment's end.
namespace rig {

/// What the bench was last told to put on its outputs, followed through the segments as they are played.
class OutputsAsked {
 public:
  void follow(const Segment& segment);
  /// Nothing when the output is not set to a voltage.
  std::optional<Volts> volts(PortId port) const;

 private:
  std::map<PortId, OutputState> states_;
};

enum class Behind {
  nothing_seen,
  rig,
  unit  ///< perhaps: only a bench that is well alone makes it so
};
struct Cause {
  Behind behind = Behind::nothing_seen;
  std::string what;  ///< with `unit`: what it seems to do, in words
};
/// REQUIRES: the slice is of that segment; `asked` has followed it.
Cause behind_void(const Plan& plan, const Segment& segment, const Slice& slice, const Scales& scales,
                  const OutputsAsked& asked);

/// A first segment that also sets what the speed line pulls to and from, as a run's very first one does: a session of
/// its own finds them safe.
Segment with_speed_line_at_rest(const Plan& plan, Segment segment);

/// Whether a sense stands at the end of its range. Before any power no unit can bring it there: then it is the rig's.
bool sense_at_its_end(const Slice& slice);

/// Whether a self-test's segment, the unit cut off, shows a bench that is well: no flag, nothing lost, and every input
/// settled in half the time that it has, so that a source that is only just too slow does not pass for a good one.
bool well_alone(const Segment& segment, const Slice& slice);

}  // namespace rig
