#pragma once

#include <limits>
#include <span>

/// The arithmetic of measurement uncertainty after JCGM 100:2008 (the GUM). Values are in the measurand's unit.
namespace rig {

/// Standard uncertainty of what lies anywhere within +-`half_width`, all equally likely (4.3.7).
double standard_of_rectangular(double half_width);
/// ... within +-`half_width`, the middle likelier (4.3.9).
double standard_of_triangular(double half_width);
/// ... swinging within +-`half_width`, as a sine does, the ends likelier.
double standard_of_arcsine(double half_width);
/// Of a value read in whole steps of a converter or counter (F.2.2.1).
double standard_of_step(double step);
/// Of a difference of two such values.
double standard_of_two_steps(double step);

constexpr double kInfiniteDegrees = std::numeric_limits<double>::infinity();

/// One input of a budget.
struct Contribution {
  double standard = 0;                ///< its standard uncertainty, in its own unit
  double sensitivity = 1;             ///< measurand's units per input's unit
  double degrees = kInfiniteDegrees;  ///< degrees of freedom behind `standard`
};
struct Combined {
  double standard = 0;
  double degrees = kInfiniteDegrees;  ///< effective, by Welch-Satterthwaite (G.4.1); not rounded
};
/// Root of the sum of squares of independent inputs (5.1.2). Nothing is rounded on the way.
Combined combine(std::span<const Contribution> budget);

/// t_p: how many standard uncertainties hold the value with probability `confidence`. Degrees are truncated to a whole
/// number, as G.4.1 advises. REQUIRES: 0 < confidence < 1, degrees >= 1.
double coverage_factor(double degrees, double confidence);
/// Expanded uncertainty, coverage_factor times the standard one.
double expanded(const Combined& combined, double confidence);
/// Expanded with k = 2, as findings carry it.
inline double expanded(double standard) { return 2 * standard; }

}  // namespace rig
