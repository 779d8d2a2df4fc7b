#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

namespace rig {

/// Ordered by rank among findings of one run: the worst decides, but see rig/run/verdict.hpp for fail against void.
enum class Verdict : unsigned char { pass = 0, undecided = 1, fail = 2, void_ = 3 };
std::string_view to_text(Verdict verdict);  ///< "pass", "fail", "undecided", "void"
std::optional<Verdict> verdict_from_text(std::string_view text);

/// Tolerance around an expected value: absolute, relative to the expected value, or both (the wider one counts).
struct Tolerance {
  double absolute = 0;  ///< in the value's unit
  double relative = 0;  ///< of |expected|
};

/// Tolerance limits in the value's unit; a missing side is not limited.
struct Band {
  std::optional<double> low, high;
  static Band around(double expected, Tolerance tolerance);
};

/// A characteristic of one unit, measured and judged.
struct Finding {
  std::string id;    ///< the characteristic: the same from unit to unit ("sweep/manifold_pressure@3500rpm,180kPa")
  std::string step;  ///< the step's name
  std::string in;    ///< unit of value, expected, low, high, uncertainty and margin ("kPa", "V", "ms")
  double value = 0;  ///< NaN when there is none: then the verdict is not pass
  std::optional<double> expected, low, high;
  double uncertainty = 0;        ///< expanded, k = 2
  std::optional<double> margin;  ///< distance to the nearer limit, negative beyond it
  Verdict verdict = Verdict::void_;
  std::string reason;                    ///< why not pass, in words a builder can act on; empty for pass
  std::optional<std::uint32_t> segment;  ///< where it was measured
};

/// Decides by guarded acceptance (JCGM 106:2012, 8.3.2, w = U): pass when the value is inside the band by at least the
/// expanded uncertainty, fail when it is outside by more than it, undecided between. A value that is not finite is
/// void. Fills margin and verdict. A one-sided band has one limit only.
void decide(Finding& finding);

}  // namespace rig
