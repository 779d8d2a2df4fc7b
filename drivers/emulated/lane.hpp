#pragma once

#include <cstdint>
#include <optional>
#include <utility>
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
  void begin_block(std::int64_t first) { starts_.push_back({first, size_}); }
  /// Room for `count` more values.
  std::int32_t* add(std::size_t count) {
    if (size_ + count > values_.size()) values_.resize(2 * values_.size() + count + 64);
    size_ += count;
    return values_.data() + size_ - count;
  }
  std::size_t size() const { return size_; }
  /// Hands the values out as blocks of `width` values a reading, into blocks[used] and on.
  void drain(rig::TrackId track, std::size_t width, std::vector<rig::Block>& blocks, std::size_t& used);

 private:
  std::vector<std::int32_t> values_;  // longer than what is in use, so that adding costs next to nothing
  std::size_t size_ = 0;
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
  /// `late`: how many steps of the grid old what the net hands out is when it is written.
  EnvelopeLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period, std::int64_t grid,
               std::int64_t conversions, std::int64_t late = 0);
  void begin(std::int64_t at) {
    flush(at / grid_);
    out_.begin_block(at);
    active_ = true;
    gathered_ = 0;
  }
  void end(std::int64_t at) {
    flush(at / grid_);
    active_ = false;
  }
  bool active() const { return active_; }
  void go_on(std::int64_t at) { out_.begin_block(at - gathered_ * grid_); }

  /// A step of the grid is over; steps count by their ends. While nothing moves, bins are written together later,
  /// unless someone wants each one's mean at once.
  void take(std::int64_t step) {
    completed_ = false;
    if (!active_) return;
    const Net& net = *place_.net;
    if (net.quiet() && !net.touched() && steps_ == 1 && late_ == 0) {
      const double reading = net.reading(place_.sense);
      if (resting_ && reading != rest_) flush(step - 1);
      if (!resting_) begin_rest(step, reading);
      if (watched_) write_next_rest();
    } else {
      flush(step - 1);
      take_moving(step);
    }
  }
  /// Writes the bins at rest up to a step.
  void flush(std::int64_t until) {
    if (resting_) write_rest(until);
  }
  /// take() need not be called while the net stays at rest.
  bool can_rest() const { return (!active_ || resting_) && !watched_ && late_ == 0; }
  void watch(bool yes) { watched_ = yes; }
  /// The mean of the bin that the last step completed, if it did. REQUIRES: watched.
  std::optional<double> completed() const {
    if (!completed_) return std::nullopt;
    return last_mean_ * converter_.scale / rig::kMeanFraction;
  }
  /// When the signal has first been off the scale since the last call.
  std::optional<std::int64_t> take_saturation() { return std::exchange(saturated_at_, std::nullopt); }
  LaneValues& out() { return out_; }

 private:
  /// How a bin's three values come from its signal. Every field is a double, so that no store of a code can be taken
  /// for a change of it.
  struct Shape {
    const Normal* deviates = nullptr;
    double mean_noise = 0, reach = 0, wander = 0, lowest = 0, highest = 0;
    void write(std::int32_t* values, double low, double high, double mean, std::uint64_t draw) const;
  };
  void take_moving(std::int64_t step);
  void hold_back(double& low, double& high, double& mean);
  void begin_rest(std::int64_t step, double reading);
  void write_next_rest();
  void write_rest(std::int64_t until);
  void note_saturation(double low, double high, std::int64_t bin) {
    if (!saturated_at_ && converter_.saturated(low, high)) saturated_at_ = bin * grid_ - grid_ * steps_;
  }
  SensePlace place_;
  Converter converter_;
  LaneNoise noise_;
  Shape shape_;
  std::int64_t grid_, steps_, late_;
  std::int64_t gathered_ = 0;
  struct Step {
    double low, high, mean;
  };
  std::vector<Step> held_;  // the last steps, oldest at held_at_, when late
  std::size_t held_at_ = 0;
  double low_ = 0, high_ = 0, sum_ = 0;
  std::int64_t next_rest_ = 0;        // the next bin at rest to be written, by the step it ends with
  double rest_ = 0, rest_level_ = 0;  // as a code
  std::int32_t last_mean_ = 0;
  bool active_ = false, watched_ = false, completed_ = false, resting_ = false;
  std::optional<std::int64_t> saturated_at_;
  LaneValues out_;
};

/// Single conversions.
class SampleLane {
 public:
  /// `delay`: how much older than its time what a sample shows is, in nanoseconds.
  SampleLane(SensePlace place, Converter converter, LaneNoise noise, std::int64_t period, std::int64_t tick_ns,
             std::int64_t delay = 0);
  void begin(std::int64_t at);
  void end(std::int64_t at);
  bool active() const { return active_; }
  void go_on(std::int64_t) { out_.begin_block(next_); }
  void take(std::int64_t grid_end);
  std::optional<std::int64_t> take_saturation() { return std::exchange(saturated_at_, std::nullopt); }
  LaneValues& out() { return out_; }

 private:
  SensePlace place_;
  Converter converter_;
  LaneNoise noise_;
  std::int64_t period_, tick_ns_, delay_, next_ = 0;
  std::size_t tap_;
  bool active_ = false;
  std::optional<std::int64_t> saturated_at_;
  LaneValues out_;
};

/// Edges of the speed line.
class EdgeLane {
 public:
  EdgeLane(bool out, std::int64_t tick_ns, std::int64_t skew_ticks)
      : of_edges_out_{out}, tick_ns_{tick_ns}, skew_ticks_{skew_ticks} {}
  bool of_edges_out() const { return of_edges_out_; }
  void begin(std::int64_t at) {
    go_on(at);
    active_ = true;
  }
  void go_on(std::int64_t at) {
    out_.begin_block(at);
    reference_ = static_cast<std::uint64_t>(at / tick_ns_);
  }
  void end(std::int64_t) { active_ = false; }
  bool active() const { return active_; }
  void take(const SpeedLine::Edge& edge);
  LaneValues& out() { return out_; }

 private:
  bool of_edges_out_;
  std::int64_t tick_ns_, skew_ticks_;
  std::uint64_t reference_ = 0;
  bool active_ = false;
  LaneValues out_;
};

}  // namespace drivers::emulated
