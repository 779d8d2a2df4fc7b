#pragma once

#include <vector>

#include "rig/compile/replay_spec.hpp"
#include "rig/compile/script.hpp"

/// How a recorded drive is played, and what it was meant to be at any instant.
namespace rig {

/// A drive as the bench is asked to play it: straight lines between the rows, of the speed and of the sources' voltages
/// (over a sensor's curve that is no straight line of pressures where the curve bends, and none of temperatures; the
/// judge reckons with what was measured).
class PlayedDrive {
 public:
  PlayedDrive(const Product& product, const Drive& drive);

  Nanoseconds duration() const { return times_.back(); }
  /// The first row holds before the drive begins, the last one after it.
  Rpm speed(double seconds) const;
  Volts pressure(std::size_t channel, double seconds) const;  ///< of the source, at the nominal rail
  Volts temperature(double seconds) const;                    ///< REQUIRES: the product has one

  /// What the crank has turned since the drive's start, in degrees.
  double degrees(double seconds) const;

  /// Plays from one instant of the drive to another; the sources stand where the drive is at `from`.
  void write(Script& script, Nanoseconds from, Nanoseconds to) const;

  /// Speeds between the slowest and the fastest that the module may be reckoning with at an instant: those of the
  /// product's measuring intervals at the speed there, and of its latency.
  struct SpeedSpan {
    Rpm slowest, fastest;
  };
  std::vector<SpeedSpan> speed_spans(Nanoseconds from, Nanoseconds to, Nanoseconds step) const;

 private:
  double at(const std::vector<double>& values, double seconds) const;
  std::size_t row_before(double seconds) const;

  const Product* product_;  ///< the caller's, which outlives this
  std::vector<Nanoseconds> times_;
  std::vector<double> seconds_, speeds_, degrees_, temperatures_;
  std::vector<std::vector<double>> volts_;  ///< per pressure
};

/// How far back an output may be answering to its inputs: latency, and what is left of a change after four of the
/// product's largest time constants (2 %).
Nanoseconds lag_of(const Product& product);

/// How far back the speed that the module reckons with may lie.
Nanoseconds speed_lag(const Product& product, Rpm speed);

}  // namespace rig
