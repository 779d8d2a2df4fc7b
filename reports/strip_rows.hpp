#pragma once

#include <cstddef>
#include <string>
#include <vector>

#include "rig/core/strip.hpp"

/// A strip made ready to be drawn: what shares a row, over which range, and outlines of few points.
namespace rig {

/// A signal's outline in pixels of its row: x from 0 to the width, y from 0 (top) to the height. Several, where
/// readings are missing in between.
struct StripPoint {
  double x, low, high;  ///< `high` lies above `low`: it is the smaller of the two
};
using StripOutline = std::vector<std::vector<StripPoint>>;

/// What is drawn above one another: an output, what goes in beside it, where it belongs; or an input alone.
struct StripRow {
  std::string name;  ///< "manifold pressure"
  std::string in;
  bool output = false;
  std::vector<const Strip::Signal*> outputs, inputs;
  std::vector<const Strip::Signal*> bands;  ///< what the tables give, where a step reckons it all along
  std::vector<const Strip::Lane*> lanes;
  double low = 0, high = 1;  ///< of the row's range
};

/// The rows, outputs first. They refer to the strip's signals and lanes.
std::vector<StripRow> strip_rows(const Strip& strip);

/// The signal over a row of that size in pixels: thinned to one point a few pixels, extremes kept, and no point where a
/// straight line does as well.
StripOutline outline(const Strip::Signal& signal, const StripRow& row, double width, double height);

/// Where a value lies in a row of that height, held inside it.
double height_of(double value, const StripRow& row, double height);

/// Round numbers (1, 2, 5 times a power of ten apart) within a range, at most `most` of them.
std::vector<double> round_ticks(double low, double high, std::size_t most);

}  // namespace rig
