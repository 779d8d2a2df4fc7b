#pragma once

#include <array>
#include <cstddef>
#include <optional>
#include <span>
#include <string>
#include <variant>
#include <vector>

namespace rig {

/// Why a table cannot be one. `axis` counts from 0; `index` is the offending breakpoint or cell.
struct TableError {
  enum class Kind { no_axis, empty_axis, not_increasing, not_finite, wrong_cell_count } kind;
  std::size_t axis = 0;
  std::size_t index = 0;
  std::string message;  ///< in words an engineer understands
};

/// A table over one, two or three axes: linear between breakpoints, clamped at the edges (no extrapolation), as engine
/// controllers and AUTOSAR's interpolation routines do. Cells are stored with the last axis running fastest
/// (row-major). Axis and cell units are the owner's business: whoever holds a Table says them.
class Table {
 public:
  static constexpr std::size_t kMaxAxes = 3;

  /// A checked table, or the first reason why it cannot be one.
  static std::variant<Table, TableError> make(std::vector<std::vector<double>> axes, std::vector<double> cells);

  std::size_t axes() const { return axes_.size(); }
  std::span<const double> axis(std::size_t which) const { return axes_[which]; }
  std::span<const double> cells() const { return cells_; }

  /// The value at a point, one coordinate per axis; coordinates beyond an axis are clamped to its end.
  /// REQUIRES: at.size() == axes(), every coordinate finite.
  double at(std::span<const double> at) const;
  double operator()(double x) const { return at(std::array{x}); }
  double operator()(double x, double y) const { return at(std::array{x, y}); }
  double operator()(double x, double y, double z) const { return at(std::array{x, y, z}); }

  double smallest() const;
  double largest() const;

 private:
  Table() = default;
  std::vector<std::vector<double>> axes_;
  std::vector<double> cells_;
};

}  // namespace rig
