#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/core/bench_setup.hpp"
#include "rig/store/store_reader.hpp"

/// What the store knows of a bench: its fixture, how its contacts fare, what is in force on it.
namespace rig {

/// A resistance that every run looks at, over the runs on this fixture: of one product, since a plug's copper and a
/// unit's contacts do not compare.
struct ContactTrend {
  std::string id, in;
  std::string product = {};  ///< the one with the most readings
  std::size_t readings = 0;
  double first = 0, last = 0;  ///< medians of the first and of the last readings (kTrendRuns, or half of all there are)
  double latest = 0;
  bool rises = false;  ///< by more than half and by more than kRise
};

struct BenchState {
  std::string bench;
  std::size_t matings = 0;            ///< runs since the fixture was mounted: each unit was put in once
  std::optional<AuditEntry> fixture;  ///< when it was mounted, and why; nothing: the first
  std::vector<ContactTrend> contacts;
  std::optional<StoredRun> baseline;               ///< the plug's run that is in force
  std::optional<StoredRun> shift_start;            ///< the last that passed, where the bench must have one
  std::size_t lately = 0, reseats = 0, voids = 0;  ///< of the last runs (kLately at most): re-seats, other voids
  static constexpr std::size_t kTrendRuns = 20, kLately = 50;
  static constexpr double kRise = 0.05;  ///< ohm: some two or three healthy contacts' worth; common practice, no source
};

/// `shift_start` is the name of the scenario that the bench must pass; empty where there is none.
BenchState bench_state(const StoreReader& reader, const std::string& bench, const std::string& shift_start,
                       WallTime now);

/// The trend of one resistance, its readings in order. REQUIRES: there is one or more.
ContactTrend contact_trend(std::string id, std::string in, const std::vector<double>& readings);

}  // namespace rig
