#pragma once

#include <span>

#include "rig/store/records.hpp"

namespace rig {

/// One run for people, on standard output: the verdict and which software it is about, why, what happened, and the
/// findings that did not pass (or all of them).
void print_run(const StoredRun& run, std::span<const StoredFinding> findings, std::span<const RunEvent> events,
               bool all);

}  // namespace rig
