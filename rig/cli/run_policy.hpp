#pragma once

#include <string>
#include <string_view>
#include <vector>

#include "rig/compile/scenario.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/store/store_reader.hpp"

/// What keeps an end-of-line run from being begun. Each says what is wrong and what to do, or nothing when all is well.
namespace rig {

/// What a serial number must look like: # stands for a digit, @ for a capital letter, everything else for itself.
std::string serial_pattern_trouble(const std::string& pattern, std::string_view serial);

/// A unit whose last two end-of-line runs were void is set aside, on whatever benches they were. Re-seats are passed
/// over, and so are runs in which the bench could not be opened: the unit was not touched.
std::string set_aside_trouble(const std::vector<StoredRun>& attempts);

/// A bench with a shift-start rule: its scenario must have passed on it within the time.
std::string shift_start_trouble(const StoreReader& reader, const BenchSetup& bench, const Scenario& shift_start,
                                WallTime now);

/// What an event says of a run whose scenario stresses the unit, kept before anything is energised.
constexpr const char* kStressEvent = "stress";
constexpr const char* kNotForSale = "not for sale until fully retested";

/// A scenario that stresses a unit is played only when that is asked for knowingly.
std::string stress_trouble(const Scenario& scenario, std::string_view serial);

/// Whether a serial has been through a run that stresses it and through no passing end-of-line run since. Runs in which
/// the bench could not be opened are passed over: the unit was not touched.
bool retest_due(const StoreReader& reader, std::string_view serial);

}  // namespace rig
