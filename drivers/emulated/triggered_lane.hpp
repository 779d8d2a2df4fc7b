#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <utility>

#include "drivers/emulated/lane.hpp"
#include "rig/core/timeline.hpp"

namespace drivers::emulated {

/// Conversions around an event in each window: rig::Trigger says which. They are single ones, as a SampleLane's.
class TriggeredLane {
 public:
  /// `delay`: how much older than its time what a conversion shows is, in nanoseconds.
  TriggeredLane(SensePlace place, Converter converter, LaneNoise noise, const rig::Track& track, std::int64_t tick_ns,
                std::int64_t delay);
  /// How long before a window's `from` it must begin to convert.
  std::int64_t before() const { return trigger_.before.count(); }
  /// Begins to convert at `at`, for a window that arms before() later. What an earlier one still records ends here.
  void begin(std::int64_t at);
  /// The window is over: no event comes any more. What has come is recorded to its end.
  void end(std::int64_t at) { closes_ = std::min(closes_, at); }
  bool active() const { return stage_ != Stage::idle; }
  void go_on(std::int64_t) {
    if (stage_ == Stage::records) out_.begin_block(next_);
  }
  void take(std::int64_t grid_end);
  std::optional<std::int64_t> take_saturation() { return std::exchange(saturated_at_, std::nullopt); }
  LaneValues& out() { return out_; }

 private:
  enum class Stage { idle, waits, records };
  std::int32_t convert(double reading);
  bool is_event(std::int32_t code);
  void take_code(std::int32_t code);

  SensePlace place_;
  Converter converter_;
  LaneNoise noise_;
  rig::Trigger trigger_;
  std::int64_t period_, tick_ns_, delay_;
  std::size_t tap_, most_kept_;
  Stage stage_ = Stage::idle;
  std::int64_t next_ = 0, arms_ = 0, closes_ = 0, ends_ = 0;
  std::deque<std::int32_t> kept_;         ///< the conversions before the event, as far as `before` reaches
  std::optional<std::int32_t> previous_;  ///< the one before, if it lies in the window too
  std::optional<std::int64_t> saturated_at_;
  LaneValues out_;
};

}  // namespace drivers::emulated
