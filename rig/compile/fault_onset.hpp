#pragma once

#include <string>

#include "rig/compile/fault_course.hpp"

namespace rig {

/// When something was there, or gone, in seconds from the segment's start: what a pin shows, after its last bounce, not
/// what was commanded.
struct Moment {
  double at = 0;
  double half_width = 0;  ///< all instants within are equally likely
  std::optional<PortId> port =
      {};  ///< the sense that saw it; nothing: none does, and it is the command with its relays' travel
  std::string voided = {};  ///< why it is not known
  /// When it was first there, before contacts bounced. A module that answers while they still may is answering to
  /// anything from then on.
  std::optional<double> earliest = {};
};

struct Onset {
  Moment came, gone;
};

/// When the fault came to the module's pin, and when it had gone.
Onset find_onset(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
                 const FaultTimes& times, const FaultCourse& course);

/// Which pressures' own sensors are at fault as the module's pins see it: theirs is the `own` reaction.
std::vector<std::size_t> own_channels(const Product& product, const FaultCase& one);

/// Beyond which of its rails a line's input stands once the fault is there; nothing where it is within both.
std::optional<BeyondRail> stands_beyond(const PressureChannel& channel, const LineCourse& line,
                                        const FaultTimes& times);

}  // namespace rig
