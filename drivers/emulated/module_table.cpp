#include "drivers/emulated/module_table.hpp"

#include <algorithm>
#include <cmath>

namespace drivers::emulated {

ModuleTable::ModuleTable(const rig::Table& table, std::vector<double> axis_units, double cell_units, TableQuirks quirks)
    : quirks_{quirks} {
  for (double breakpoint : table.axis(0)) rows_.push_back(std::llround(breakpoint * axis_units[0]));
  if (table.axes() > 1) {
    for (double breakpoint : table.axis(1)) columns_.push_back(std::llround(breakpoint * axis_units[1]));
  } else {
    columns_ = {0};
  }
  for (double value : table.cells()) cells_.push_back(std::llround(value * cell_units * quirks_.other_table));
  largest_ = *std::max_element(cells_.begin(), cells_.end());
  cells_[rows_.size() / 2 * columns_.size() + columns_.size() / 2] += quirks_.wrong_cell;
}

ModuleTable::Place ModuleTable::find(const std::vector<std::int64_t>& axis, std::int64_t value) const {
  const int last = static_cast<int>(axis.size()) - 1;
  if (last == 0) return {0, 0};
  if (!quirks_.no_clamp) value = std::clamp(value, axis.front(), axis.back());
  int index = 0;
  while (index < last && value >= axis[static_cast<std::size_t>(index) + 1]) ++index;
  const int interval = std::min(index, last - 1);
  const std::int64_t from = axis[static_cast<std::size_t>(index)];
  const std::int64_t length = axis[static_cast<std::size_t>(interval) + 1] - axis[static_cast<std::size_t>(interval)];
  return {index, (value - from) * 65536 / length};
}

/// Reads on behind a row's end into the next row, and nothing (0) behind the table's, as an unguarded program does.
std::int64_t ModuleTable::cell(int row, int column) const {
  const std::size_t place = static_cast<std::size_t>(row) * columns_.size() + static_cast<std::size_t>(column);
  return place < cells_.size() ? cells_[place] : 0;
}

std::int64_t ModuleTable::at(std::int64_t x, std::int64_t y) const {
  std::int64_t& last = columns_.size() > 1 ? y : x;
  const std::vector<std::int64_t>& last_axis = columns_.size() > 1 ? columns_ : rows_;
  const std::size_t early = std::min(static_cast<std::size_t>(quirks_.clamped_early), last_axis.size() - 1);
  if (early > 0) last = std::min(last, last_axis[last_axis.size() - 1 - early]);
  Place row = find(rows_, x), column = find(columns_, y);
  if (quirks_.no_interpolation) row.fraction = column.fraction = 0;
  if (quirks_.axis_off != 0) {
    row.index = std::clamp(row.index - quirks_.axis_off, 0, static_cast<int>(rows_.size()) - 1);
  }
  if (quirks_.swapped_axes) {
    std::swap(row, column);
    row.index = std::min(row.index, static_cast<int>(rows_.size()) - 1);
    column.index = std::min(column.index, static_cast<int>(columns_.size()) - 1);
  }
  const int next_row = row.fraction == 0 ? row.index : row.index + 1;
  const int next_column = column.fraction == 0 ? column.index : column.index + 1;
  const auto along = [&](int r) {
    const std::int64_t here = cell(r, column.index);
    return here * 65536 + (cell(r, next_column) - here) * column.fraction;
  };
  const std::int64_t below = along(row.index), above = next_row == row.index ? below : along(next_row);
  return below + (((above - below) * row.fraction) >> 16);
}

std::int64_t ModuleCurve::at(std::int64_t x) const {
  std::size_t piece = 0;
  while (piece + 2 < points_.size() && x >= points_[piece + 1].x) ++piece;
  const Point& a = points_[piece];
  const Point& b = points_[piece + 1];
  const std::int64_t scaled = (x - a.x) * (b.y - a.y), length = b.x - a.x;
  return a.y + (scaled >= 0 ? scaled + length / 2 : scaled - length / 2) / length;
}

ModuleCurve ModuleCurve::inverse() const {
  std::vector<Point> turned;
  for (const Point& point : points_) turned.push_back({point.y, point.x});
  if (turned.front().x > turned.back().x) std::reverse(turned.begin(), turned.end());
  return ModuleCurve{std::move(turned)};
}

}  // namespace drivers::emulated
