#pragma once

#include "rig/core/finding.hpp"

namespace rig {

/// What the program tells a script. A fail and an error are never the same number.
enum ExitCode : int {
  kDone = 0,       ///< passed, or done
  kNotPassed = 1,  ///< a unit failed or was undecided; a store is not sound
  kBadInput = 2,   ///< a file or an argument is wrong
  kRigFault = 3,   ///< the rig was at fault: void
  kStopped = 4,    ///< by a person or an interlock
  kStoreFailed = 5,
};

constexpr ExitCode exit_code_of(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return kDone;
    case Verdict::fail:
    case Verdict::undecided:
      return kNotPassed;
    case Verdict::void_:
      break;
  }
  return kRigFault;
}

}  // namespace rig
