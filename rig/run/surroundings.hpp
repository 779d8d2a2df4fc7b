#pragma once

#include <fmt/format.h>

#include "rig/compile/readings.hpp"
#include "rig/run/run.hpp"

namespace rig {

/// Notes the temperature of the room and of the fixture, once a run.
class Surroundings {
 public:
  void note(const Plan& plan, const Slice& slice, const Scales& scales, RunListener& listener) {
    if (noted_) return;
    noted_ = true;
    const Readings readings{plan.bench, slice, scales};
    auto note_one = [&](const char* kind, const std::optional<TrackId>& track) {
      if (!track) return;
      const auto reading = readings.at_end(*track, plan.scenario.product->timing.settle_window);
      if (reading.bins == 0)
        noted_ = false;  // the next segment may be long enough
      else
        listener.noted({kind, fmt::format("{:.1f} degC", reading.value)});
    };
    note_one("ambient", plan.tracks.ambient);
    if (noted_) note_one("fixture", plan.tracks.fixture);
  }

 private:
  bool noted_ = false;
};

}  // namespace rig
