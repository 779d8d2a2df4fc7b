#pragma once

#include <span>
#include <string>
#include <vector>

#include "rig/compile/pressure_course.hpp"
#include "rig/compile/replay_plan.hpp"

/// Where the outputs belong while a drive is played. Pure.
namespace rig {

/// From where to where a reported pressure may be, bin by bin of a segment, in kPa.
struct MovingBand {
  std::vector<double> low, high;
  /// How far outside a value is; negative inside.
  double outside(std::size_t bin, double value) const { return std::max(low[bin] - value, value - high[bin]); }
};

class ReplayModel {
 public:
  /// `played` and the others outlive the model. `from` is the drive's time at the segment's start.
  ReplayModel(const Product& product, const BenchSetup& bench, const PlayedDrive& played,
              std::span<const PlayedDrive::SpeedSpan> speeds, Nanoseconds from, const PressureCourse& course);

  const MovingBand& channel(std::size_t c) const { return channels_[c]; }
  /// (first - last) of two pressures, the product's order; empty with one.
  const MovingBand& difference() const { return difference_; }
  /// Expanded uncertainty of a channel's distance at a bin, in kPa: senses of output, inputs and rails by their limits
  /// of error, and the output's slope times what two senses may lie apart in time.
  double doubt(std::size_t channel, std::size_t bin) const;

  /// Bins of history that the spans must cover before a segment's first.
  static std::size_t history_bins(const Product& product);

 private:
  void lay_inputs(const PressureCourse& course);
  void reckon(std::size_t j);
  void speeds_between(const PlayedDrive::SpeedSpan& span);
  double kilopascals_of(double limit_volts, std::size_t channel, double at) const;

  const Product& product_;
  const BenchSetup& bench_;
  const PlayedDrive& played_;
  std::span<const PlayedDrive::SpeedSpan> speeds_;
  double from_ = 0;
  std::size_t history_ = 0, bins_ = 0;
  std::vector<std::vector<Kilopascals>> in_;  ///< per channel, history and bins
  std::vector<double> temperature_;
  std::vector<Kilopascals> at_;  ///< one moment's
  std::vector<Rpm> candidates_;
  std::vector<MovingBand> raw_;  ///< before the lag, history and bins
  MovingBand raw_difference_;
  std::vector<MovingBand> channels_;
  MovingBand difference_;
};

}  // namespace rig
