#pragma once

#include <span>
#include <string>

#include "rig/core/finding.hpp"

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
};

/// A fault of the rig or a self-test that did not pass voids everything: nothing is said of the unit. Else a fail
/// outranks a void, for a finding only fails where its own segment had no gap and no flag (the judges see to that).
/// Then void, then undecided. A pass needs every finding to pass, and at least one.
RunVerdict conclude_run(std::span<const Finding> findings, const RigHealth& health);

}  // namespace rig
