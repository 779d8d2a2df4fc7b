#include "rig/core/table.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <utility>

#include "rig/core/number_text.hpp"

namespace rig {
namespace {

std::string ordinal_axis(std::size_t axis) { return "axis " + std::to_string(axis + 1); }

std::optional<TableError> axis_error(std::size_t which, const std::vector<double>& axis) {
  using Kind = TableError::Kind;
  if (axis.empty()) return TableError{Kind::empty_axis, which, 0, ordinal_axis(which) + " has no breakpoint"};
  for (std::size_t i = 0; i < axis.size(); ++i) {
    const std::string where = ordinal_axis(which) + ", breakpoint " + std::to_string(i + 1);
    if (!std::isfinite(axis[i])) return TableError{Kind::not_finite, which, i, where + " is not a finite number"};
    if (i > 0 && axis[i] <= axis[i - 1]) {
      return TableError{Kind::not_increasing, which, i,
                        where + " (" + shortest_text(axis[i]) + ") is not greater than the one before (" +
                            shortest_text(axis[i - 1]) + ")"};
    }
  }
  return std::nullopt;
}

/// Where a coordinate lies on an axis: between breakpoint `index` and the next, `fraction` of the way.
struct Place {
  std::size_t index;
  double fraction;
};

Place place(std::span<const double> axis, double x) {
  if (x <= axis.front()) return {0, 0};
  if (x >= axis.back()) return {axis.size() - 1, 0};
  const auto above = std::upper_bound(axis.begin(), axis.end(), x);
  const auto index = static_cast<std::size_t>(above - axis.begin()) - 1;
  return {index, (x - axis[index]) / (axis[index + 1] - axis[index])};
}

}  // namespace

std::variant<Table, TableError> Table::make(std::vector<std::vector<double>> axes, std::vector<double> cells) {
  using Kind = TableError::Kind;
  if (axes.empty()) return TableError{Kind::no_axis, 0, 0, "a table needs an axis"};
  if (axes.size() > kMaxAxes) {
    return TableError{Kind::no_axis, kMaxAxes, 0,
                      "a table has three axes at most, this one has " + std::to_string(axes.size())};
  }
  std::size_t wanted = 1;
  for (std::size_t which = 0; which < axes.size(); ++which) {
    if (auto error = axis_error(which, axes[which])) return *std::move(error);
    wanted *= axes[which].size();
  }
  if (cells.size() != wanted) {
    return TableError{
        Kind::wrong_cell_count, 0, std::min(cells.size(), wanted),
        "the axes ask for " + std::to_string(wanted) + " cells, there are " + std::to_string(cells.size())};
  }
  for (std::size_t i = 0; i < cells.size(); ++i) {
    if (!std::isfinite(cells[i])) {
      return TableError{Kind::not_finite, axes.size(), i, "cell " + std::to_string(i + 1) + " is not a finite number"};
    }
  }
  Table table;
  table.axes_ = std::move(axes);
  table.cells_ = std::move(cells);
  return table;
}

double Table::at(std::span<const double> at) const {
  assert(at.size() == axes_.size());
  // The corners of the cell are folded one axis at a time, the last axis first, as AUTOSAR's routines do.
  std::array<double, 1u << kMaxAxes> corner;
  std::array<Place, kMaxAxes> places;
  for (std::size_t i = 0; i < axes_.size(); ++i) {
    assert(std::isfinite(at[i]));
    places[i] = place(axes_[i], at[i]);
  }
  const std::size_t corners = std::size_t{1} << axes_.size();
  for (std::size_t c = 0; c < corners; ++c) {
    std::size_t cell = 0;
    for (std::size_t i = 0; i < axes_.size(); ++i) {
      const bool upper = (c >> (axes_.size() - 1 - i) & 1) != 0 && places[i].fraction > 0;
      cell = cell * axes_[i].size() + places[i].index + (upper ? 1 : 0);
    }
    corner[c] = cells_[cell];
  }
  std::size_t left = corners;
  for (std::size_t i = axes_.size(); i-- > 0;) {
    left /= 2;
    const double f = places[i].fraction;
    for (std::size_t c = 0; c < left; ++c) corner[c] = (1 - f) * corner[2 * c] + f * corner[2 * c + 1];
  }
  return corner[0];
}

double Table::smallest() const { return *std::min_element(cells_.begin(), cells_.end()); }
double Table::largest() const { return *std::max_element(cells_.begin(), cells_.end()); }

}  // namespace rig
