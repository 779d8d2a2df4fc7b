#pragma once

#include <cmath>
#include <cstdint>
#include <set>
#include <span>
#include <string_view>

#include "rig/core/finding.hpp"

namespace rig {

/// What a step about how the unit sits has found.
enum class Fit {
  good,
  reseat,   ///< it does not sit well: put it in again
  bad,      ///< its own contact is to blame
  unknown,  ///< the rig lost what would have told
};

/// A fail outranks a re-seat. A void is the rig's, not the fit's, where it has no value (a source that did not settle,
/// a sense that is not connected) and in a segment with trouble of the rig's own.
inline Fit fit_of(std::string_view step, std::span<const Finding> findings,
                  const std::set<std::uint32_t>& rig_trouble_in) {
  Fit fit = Fit::good;
  for (const auto& finding : findings) {
    if (finding.step != step) continue;
    if (finding.verdict == Verdict::fail) return Fit::bad;
    if (finding.verdict != Verdict::void_) continue;
    const bool of_the_rig =
        !std::isfinite(finding.value) || (finding.segment && rig_trouble_in.contains(*finding.segment));
    if (!of_the_rig)
      fit = Fit::reseat;
    else if (fit == Fit::good)
      fit = Fit::unknown;
  }
  return fit;
}

}  // namespace rig
