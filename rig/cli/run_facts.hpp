#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/compile/plan.hpp"
#include "rig/store/store_reader.hpp"

/// What is known of a run before it begins, gathered from the store and kept with the run as an input (role "facts"),
/// so that it can be judged again from the store alone.
namespace rig {

constexpr const char* kFactsRole = "facts";
/// What an audit entry says when the bench has got another fixture: its contacts and its plug's readings begin anew.
constexpr const char* kNewFixture = "new fixture";
constexpr std::chrono::hours kBaselineHolds{16};  ///< a shift and the way home; common practice, no source

/// The facts, and what a later run must know of this one's product.
struct KeptFacts {
  RunFacts facts;
  bool straight_through = false;
  std::vector<std::string> lines;      ///< channels and rails, sorted
  std::vector<std::string> pins;       ///< names, sorted; may be empty
  std::vector<std::string> fit_steps;  ///< names of the steps about how the unit sits
};

std::string facts_json(const KeptFacts& kept);
/// Nothing when the text is not what facts_json() wrote.
std::optional<KeptFacts> facts_from_json(std::string_view text);

/// What can be told without a store.
KeptFacts facts_without_store(const Scenario& scenario, const std::string& serial);

/// Re-seats: how many of the serial's runs just before, on any bench, ended so; what was stopped or cut off before it
/// could tell is passed over. Plug cleared: since the first of them a plug's contacts have passed on this bench.
/// Baseline: the last passing run about this bench of a plug with the same connectors, no older than it may be and of
/// the fixture that is mounted now. `remarks` gets what people at the bench should know.
KeptFacts gather_facts(const StoreReader& reader, const Scenario& scenario, const BenchSetup& bench,
                       const std::string& serial, WallTime now, std::vector<std::string>& remarks);

/// The plug's run whose readings are in force for a product of these lines and pins (for any, when there are none).
std::optional<StoredRun> baseline_run(const StoreReader& reader, std::string_view bench, const KeptFacts& of,
                                      WallTime now);

}  // namespace rig
