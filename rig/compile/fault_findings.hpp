#pragma once

#include <string>
#include <utility>

#include "rig/compile/judgement.hpp"

/// What the judges of a fault write down alike.
namespace rig {

inline double ms(double seconds) { return 1e3 * seconds; }

/// No verdict either way, and why.
inline Finding undecided(Named what, std::string reason, std::uint32_t segment) {
  auto finding = not_measured(std::move(what), std::move(reason), segment);
  finding.verdict = Verdict::undecided;
  return finding;
}

}  // namespace rig
