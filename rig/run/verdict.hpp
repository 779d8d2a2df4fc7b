#pragma once

#include <span>
#include <string>

#include "rig/compile/scenario.hpp"
#include "rig/core/finding.hpp"

/// What a run as a whole says of the unit. The rules:
///
/// 1. A fault of link, clock or board, a stop by a person, outputs that are not known to be safe: void. So is
/// everything
///    once a self-test or a watch over the rig did not pass.
/// 2. A step about how the unit sits (contacts) with a void: the run ends at once, before any power: "re-seat and
///    repeat", void, counted apart. With a fail (the plug has cleared the fixture meanwhile): the run ends, fail.
/// 3. Void is no loophole. A void in mid-run that may be the unit's doing (disturbance.hpp says which) has the unit cut
///    off and the bench test itself alone: if it is well, "unit disturbs the bench", fail; if not, void.
/// 4. Else a fail outranks a void, for a finding only fails where its own segment had no gap and no flag (the judges
/// see
///    to that). Then void, then undecided. A pass needs every finding to pass, and at least one.
///
/// The reason begins with ONE headline that says what is wrong and what to do; what else there is to say follows, each
/// after "; ". Names are said in words ("charge pressure"), but for what stands in quotes: that is a name in a file.
namespace rig {

/// What the run as a whole says of the unit, and why, in a sentence or two that a builder can act on.
struct RunVerdict {
  Verdict verdict = Verdict::void_;
  std::string reason;  ///< empty for pass
};

/// What happened to the rig while the run was on.
struct RigHealth {
  std::string fault;             ///< the run was cut short: link, clock, board, a person's stop. Empty when it was not.
  bool self_test_passed = true;  ///< opening and closing, and whatever else was said of the rig
  bool reseat = false;           ///< a step about how the unit sits did not like it
  std::string disturbance = {};  ///< what the unit, once cut off, was found to have done to a bench that is well
};

/// See above. Of two that apply, the earlier rule counts.
RunVerdict conclude_run(std::span<const Finding> findings, const RigHealth& health);

/// Whether a label may be printed for a unit: for a pass at end of line, and for nothing else.
constexpr bool may_label(Verdict verdict, bool reseat, Purpose purpose) {
  return verdict == Verdict::pass && !reseat && purpose == Purpose::end_of_line;
}

}  // namespace rig
