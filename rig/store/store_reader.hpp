#pragma once

#include <memory>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/store/records.hpp"
#include "rig/store/store_error.hpp"

namespace rig {

struct RunFilter {
  std::optional<std::string> serial;
  std::optional<Verdict> verdict;  ///< only closed runs have one
  std::int64_t limit = 50;
  std::optional<std::string> bench = {}, purpose = {};  ///< names, as in RunOpened
  bool reseated = false;  ///< with a verdict: only runs that ended in a re-seat, else none of those
};

/// Reads a store, also while it is being written. One thread at a time. Everything throws StoreError.
class StoreReader {
 public:
  explicit StoreReader(std::string path, const std::string& vfs = {});
  ~StoreReader();
  StoreReader(StoreReader&&) noexcept;
  StoreReader& operator=(StoreReader&&) noexcept;

  std::vector<StoredRun> list_runs(const RunFilter& filter = {}) const;  ///< newest first
  /// Finds a run by its number ("481"), its id, or the beginning of its id if only one run's begins so (4 characters or
  /// more). Kind::not_found or ambiguous otherwise.
  RunNumber find_run(std::string_view text) const;
  StoredRun load_run(RunNumber run) const;
  StoredRun load_run(std::string_view text) const { return load_run(find_run(text)); }

  std::vector<StoredFinding> findings(RunNumber run) const;  ///< in the order they were made
  std::vector<RunInput> inputs(RunNumber run) const;         ///< with their content
  std::vector<RunEvent> events(RunNumber run) const;
  std::vector<TraceRow> traces(RunNumber run) const;
  std::vector<std::string> traced_steps(RunNumber run) const;  ///< in the order they were recorded
  /// Exactly what the judge was given; all parts joined. Throws when bytes were released, are missing or altered.
  StepTrace load_step_trace(RunNumber run, std::string_view step) const;

  /// Oldest first, voids and re-seats included; not the runs about the stand itself.
  std::vector<StoredRun> attempts_of(std::string_view serial) const;
  /// The unit's first passing end-of-line run.
  std::optional<StoredRun> birth_record(std::string_view serial) const;

  /// The runs on a bench that were opened after the last audit entry of that action about it (all of them when there is
  /// none), by the ledger's order; oldest first.
  std::vector<RunNumber> runs_on(std::string_view bench, std::string_view since_action) const;
  std::vector<AuditEntry> audits(std::string_view action, std::string_view subject) const;  ///< newest first

 private:
  class Queries;
  std::unique_ptr<Queries> queries_;
};

}  // namespace rig
