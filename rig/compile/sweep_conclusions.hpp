#pragma once

#include <span>
#include <string>
#include <vector>

#include "rig/compile/plan.hpp"
#include "rig/compile/sweep_points.hpp"

/// What a sweep says of the unit as a whole, from all its points.
namespace rig {

struct SweepContext {
  const std::string& step;
  const SweepSpec& spec;
  const Product& product;
  const std::vector<SweepPoint>& points;  ///< the grid, then the three response points (two-pressure products)
  std::size_t grid;                       ///< how many of them are the grid
};

/// One reduction per point. Worst cases name the point they were found at.
std::vector<Finding> conclude_sweep(const SweepContext& sweep, std::span<const Reduction> reductions);
/// Identifiers of all that conclude_sweep yields.
std::vector<std::string> sweep_conclusion_ids(const SweepContext& sweep);

}  // namespace rig
