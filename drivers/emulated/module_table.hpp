#pragma once

#include <cstdint>
#include <vector>

#include "rig/core/table.hpp"

/// Table look-up as the module's own program does it, in integers. It shares nothing with the judge's but the numbers
/// in the product's file, so that a mistake in one is not mirrored in the other.
namespace drivers::emulated {

/// Ways in which a program reads its table wrongly.
struct TableQuirks {
  std::int64_t wrong_cell = 0;  ///< added to the middle cell, in cell units
  bool swapped_axes = false;
  int axis_off = 0;  ///< breakpoints of the first axis too low
  bool no_interpolation = false;
  bool no_clamp = false;
  int clamped_early = 0;   ///< breakpoints before its end at which the last axis is held
  double other_table = 1;  ///< every cell is this many times the file's
};

/// A table over one or two axes in fixed point.
class ModuleTable {
 public:
  /// Breakpoints and cells are rounded to whole units; `*_units` says how many of them one of the file's is.
  /// REQUIRES: one or two axes.
  ModuleTable(const rig::Table& table, std::vector<double> axis_units, double cell_units, TableQuirks quirks = {});
  /// The value times 65536, in cell units; coordinates in axis units (`y` of no meaning with one axis).
  std::int64_t at(std::int64_t x, std::int64_t y = 0) const;
  std::int64_t largest() const { return largest_; }

 private:
  struct Place {
    int index;
    std::int64_t fraction;  ///< of the interval from `index` to the next, times 65536
  };
  Place find(const std::vector<std::int64_t>& axis, std::int64_t value) const;
  std::int64_t cell(int row, int column) const;
  std::vector<std::int64_t> rows_, columns_, cells_;
  std::int64_t largest_ = 0;
  TableQuirks quirks_;
};

/// A one-to-one curve in integers, linear between its points and beyond its ends.
class ModuleCurve {
 public:
  struct Point {
    std::int64_t x, y;
  };
  /// REQUIRES: two points or more, x strictly increasing.
  explicit ModuleCurve(std::vector<Point> points) : points_{std::move(points)} {}
  std::int64_t at(std::int64_t x) const;
  ModuleCurve inverse() const;  ///< REQUIRES: y strictly monotonic

 private:
  std::vector<Point> points_;
};

}  // namespace drivers::emulated
