#pragma once

#include <span>

#include "rig/store/records.hpp"

namespace rig {

/// One run for people, on standard output: the verdict, why, and the findings that did not pass (or all of them).
void print_run(const StoredRun& run, std::span<const StoredFinding> findings, bool all);

}  // namespace rig
