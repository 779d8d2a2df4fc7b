#pragma once

#include <span>

#include "rig/store/records.hpp"

namespace rig {

/// One run for people, on standard output: the verdict and which software it is about, why, what happened, and the
/// findings that did not pass (or all of them). `retest_due`: the serial is not for sale as things stand now.
void print_run(const StoredRun& run, std::span<const StoredFinding> findings, std::span<const RunEvent> events,
               bool retest_due, bool all);

}  // namespace rig
