#pragma once

#include <string>
#include <utility>
#include <vector>

#include "rig/run/run.hpp"

namespace rig {

/// Gathers a step's slices and hands them to the listener in parts of about 1 MiB.
class TraceParts {
 public:
  explicit TraceParts(RunListener& listener) : listener_{listener} {}
  void begin(const std::string& step, const std::vector<TrackInfo>& tracks) {
    step_ = step;
    tracks_ = &tracks;
    slices_.clear();
    part_ = 0, values_ = 0;
  }
  void keep(Slice& slice) {
    if (!listener_.wants_traces()) return;
    for (const auto& track : slice.tracks) values_ += track.values.size();
    slices_.push_back(std::move(slice));
    if (values_ >= kPartValues) hand_over();
  }
  void hand_over() {
    if (slices_.empty()) return;
    listener_.recorded(step_, part_++, *tracks_, std::move(slices_));
    slices_.clear();
    values_ = 0;
  }

 private:
  static constexpr std::size_t kPartValues = 1u << 18;  ///< readings in one part
  RunListener& listener_;
  std::string step_;
  const std::vector<TrackInfo>* tracks_ = nullptr;  ///< the session's
  std::vector<Slice> slices_;
  std::uint32_t part_ = 0;
  std::size_t values_ = 0;
};

}  // namespace rig
