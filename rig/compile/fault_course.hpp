#pragma once

#include <vector>

#include "rig/compile/fault_plan.hpp"
#include "rig/compile/readings.hpp"
#include "rig/measure/waveform.hpp"

/// What a fault's segment shows of the pressure lines, and where their outputs belong meanwhile. Seconds count from the
/// segment's start; volts are calibrated.
namespace rig {

/// A line's samples in the close look around the fault.
struct CloseLook {
  std::vector<double> volts;
  double start = 0, period = 0;  ///< s; the sense's known delay is taken off
  double at(std::size_t i) const { return start + static_cast<double>(i) * period; }
  /// The samples from one moment up to, not including, another.
  CloseLook between(double from, double to) const;
  double mean(double from, double to) const;  ///< NaN without samples
};

/// Where a signal may be, bin by bin.
struct Corridor {
  std::vector<double> low, high;
};

/// Why the table cannot be told at some moment.
enum class Untold {
  no,               ///< it can
  controller_rail,  ///< a 5 V rail is away that the bench feeds
  sensor_rail,      ///< ... that the module feeds
  input             ///< the channel's own input, or the one that indexes its table, is beyond its diagnostic rails
};

struct LineCourse {
  std::vector<EnvelopeBin> in, out;
  CloseLook close_in, close_out;
  Corridor input;   ///< what the input has been over the time a driven output takes to come close
  Corridor lately;  ///< ... over the time it may still be on its way
  Corridor table;   ///< where the table wants the output, for what the pins have carried over that time; where it is
                    ///< untold, the input: nothing is held to that
  std::vector<Untold> untold;  ///< bin by bin
  Corridor reach;  ///< all that lies between an input and a table that it has left behind: what it may come through
  double scale_in = 1, scale_out = 1;  ///< of the 5 V rail on either side before the fault, of its nominal voltage
  /// The first reason between two bins for which the table cannot be told; `no` when it always can.
  Untold untold_in(std::size_t from, std::size_t to) const;
};

struct FaultCourse {
  double bin = 1e-3;  ///< s
  std::vector<LineCourse> lines;
};

/// Reads a fault's segment. The speed is what was asked for: a pulse source is exact to its ticks, and what became of
/// its edges on a broken wire is the fault's own doing.
FaultCourse read_course(const Product& product, const TrackMap& tracks, const Readings& readings, const FaultCase& one,
                        const FaultTimes& times, Celsius intake);

/// Volts that a pressure difference makes on a channel, at the voltage it stands at.
double volts_of(const PressureChannel& channel, Kilopascals difference, double volts);

}  // namespace rig
