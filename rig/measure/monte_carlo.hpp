#pragma once

#include <cstddef>
#include <cstdint>
#include <functional>
#include <span>
#include <utility>
#include <vector>

/// Propagation of distributions through a measurement equation that is not straight, or whose inputs are not normal
/// (JCGM 101:2008). The same seed gives the same numbers on every machine.
namespace rig {

/// What is known of an input.
struct Input {
  enum class Shape { normal, rectangular, triangular, arcsine } shape = Shape::normal;
  double value = 0;
  double standard = 0;  ///< standard uncertainty, whatever the shape
};

struct Propagated {
  double mean = 0, standard = 0;
  std::pair<double, double> shortest;   ///< shortest interval that holds the stated share (5.3.4)
  std::pair<double, double> symmetric;  ///< as much left out on either side
  std::size_t trials = 0;
};

/// The measurement equation: one value from one draw of every input, in their order.
using Equation = std::function<double(std::span<const double>)>;

/// Inputs are independent; correlated ones are written as sums of independent ones in the equation. REQUIRES: trials >=
/// 1000, 0 < share < 1.
Propagated propagate(const Equation& equation, std::span<const Input> inputs, std::size_t trials, double share,
                     std::uint64_t seed);

/// Adaptive (7.9): blocks of 10,000 trials until mean, standard uncertainty and both ends of the symmetric interval
/// stand still, twice their standard error, to `digits` significant digits of the standard uncertainty (1 or 2), or
/// `most` trials are done.
Propagated propagate_until_still(const Equation& equation, std::span<const Input> inputs, double share, int digits,
                                 std::size_t most, std::uint64_t seed);

/// Half a unit of the last of `digits` significant digits of a standard uncertainty (7.9.2): 0.35 to two digits: 0.005.
double numerical_tolerance(double standard, int digits);

}  // namespace rig
