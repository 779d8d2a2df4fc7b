#pragma once

#include <cstdint>
#include <vector>

#include "drivers/emulated/instrument.hpp"
#include "drivers/emulated/noise.hpp"
#include "drivers/emulated/world.hpp"
#include "rig/core/recording.hpp"

/// One track on its way into chunks.
namespace drivers::emulated {

/// What every kind of lane keeps: values since the last drain, cut where a window begins.
class LaneValues {
 public:
  void begin_block(std::int64_t first) { starts_.push_back({first, values.size()}); }
  /// Hands the values out as blocks of `width` values a reading, into blocks[used] and on.
  void drain(rig::TrackId track, std::size_t width, std::vector<rig::Block>& blocks, std::size_t& used);
  std::vector<std::int32_t> values;

 private:
  struct Start {
    std::int64_t first;
    std::size_t at;
  };
  std::vector<Start> starts_;
};

/// Converter noise of one sense.
struct LaneNoise {
  Chance chance;
  double codes = 0;  ///< standard deviation of one conversion
};

/// An envelope. Its bins are not made up of single conversions. For n conversions of standard deviation s a bin, the
/// mean gets one normal deviate times s / sqrt(n); minimum and maximum lie beyond the signal's own extremes by the
/// median excursion of the largest of n normals, times s, give or take one normal deviate of the spread that excursion
/// has (Gumbel's, pi / sqrt(6) / sqrt(2 ln n)). Minimum <= mean <= maximum always.
class EnvelopeLane {
 public:
  EnvelopeLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period, std::int64_t grid,
               std::int64_t conversions);
  void begin(std::int64_t at) {
    out_.begin_block(at);
    active_ = true;
    gathered_ = 0;
  }
  void end() { active_ = false; }
  bool active() const { return active_; }
  void go_on(std::int64_t at) { out_.begin_block(at - gathered_ * grid_); }
  /// A step of the grid is over. True if a bin is.
  bool take(std::int64_t grid_end);
  double last_mean() const { return last_mean_ * converter_.scale / rig::kMeanFraction; }
  bool saturated() const { return saturated_; }
  LaneValues& out() { return out_; }

 private:
  void put(double low, double high, double mean, std::int64_t bin);
  SensePlace place_;
  Converter converter_;
  LaneNoise noise_;
  double mean_noise_ = 0, reach_ = 0, wander_ = 0;
  std::int64_t grid_, steps_;
  std::int64_t gathered_ = 0;
  double low_ = 0, high_ = 0, sum_ = 0;
  std::int32_t last_mean_ = 0;
  bool active_ = false, saturated_ = false;
  LaneValues out_;
};

/// Single conversions.
class SampleLane {
 public:
  SampleLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period, std::int64_t tick_ns);
  void begin(std::int64_t at);
  void end(std::int64_t at);
  bool active() const { return active_; }
  void go_on(std::int64_t) { out_.begin_block(next_); }
  void take(std::int64_t grid_end);
  bool saturated() const { return saturated_; }
  LaneValues& out() { return out_; }

 private:
  SensePlace place_;
  Converter converter_;
  LaneNoise noise_;
  std::int64_t period_, tick_ns_, next_ = 0;
  std::size_t tap_;
  bool active_ = false, saturated_ = false;
  LaneValues out_;
};

/// Edges of the speed line.
class EdgeLane {
 public:
  EdgeLane(std::int64_t tick_ns, std::int64_t skew_ticks) : tick_ns_{tick_ns}, skew_ticks_{skew_ticks} {}
  void begin(std::int64_t at) {
    go_on(at);
    active_ = true;
  }
  void go_on(std::int64_t at) {
    out_.begin_block(at);
    reference_ = static_cast<std::uint64_t>(at / tick_ns_);
  }
  void end() { active_ = false; }
  bool active() const { return active_; }
  std::int64_t skew_ticks() const { return skew_ticks_; }
  void take(const SpeedLine::Edge& edge);
  LaneValues& out() { return out_; }

 private:
  std::int64_t tick_ns_, skew_ticks_;
  std::uint64_t reference_ = 0;
  bool active_ = false;
  LaneValues out_;
};

}  // namespace drivers::emulated
