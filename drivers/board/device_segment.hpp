#pragma once

#include <optional>

#include "drivers/board/device_plan.hpp"

namespace drivers::board {

/// Puts a segment together from queue entries, one after the other, and holds each against the plan and its limits.
class DeviceSegment {
 public:
  explicit DeviceSegment(const DevicePlan& plan) : plan_{plan} {}
  void clear() { phase_ = Phase::outside; }
  /// A segment has begun and not ended.
  bool partial() const { return phase_ != Phase::outside; }
  /// Takes an entry of a segment, or says what is wrong with it (the refusal's detail is left to the caller).
  std::optional<Refusal> take(const Entry& entry);
  /// The segment that the last entry completed, or nothing.
  std::optional<rig::Segment> completed();

 private:
  enum class Phase { outside, conditions, windows, events };
  std::optional<Refusal> take(const SegmentBegin& entry);
  std::optional<Refusal> take(const UntilCondition& entry);
  std::optional<Refusal> take(const WindowEntry& entry);
  std::optional<Refusal> take(const EventEntry& entry);
  std::optional<Refusal> take(const SegmentEndEntry& entry);
  std::optional<Refusal> take(const EndOfTimeline& entry);
  rig::Nanoseconds time(std::uint64_t ticks) const;
  bool sane(std::uint64_t ticks) const;

  const DevicePlan& plan_;
  Phase phase_ = Phase::outside;
  rig::Segment segment_;
  std::optional<rig::Segment> completed_;
};

}  // namespace drivers::board
