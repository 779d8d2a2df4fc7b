#pragma once

#include <cstddef>

namespace rig {

/// Stretches of neighbouring readings outside, in a form that joins piece by piece without a look back.
struct OutsideRuns {
  double readings = 0;  ///< in all, outside or not
  double leading = 0, trailing = 0, longest = 0;
  void take(bool outside) {
    readings += 1;
    trailing = outside ? trailing + 1 : 0;
    if (trailing == readings) leading = trailing;
    longest = longest < trailing ? trailing : longest;
  }
  /// The next piece.
  void join(const OutsideRuns& next) {
    const double across = trailing + next.leading;
    leading = leading == readings ? leading + next.leading : leading;
    longest = longest < next.longest ? next.longest : longest;
    longest = longest < across ? across : longest;
    trailing = next.trailing == next.readings ? trailing + next.readings : next.trailing;
    readings += next.readings;
  }
};

}  // namespace rig
