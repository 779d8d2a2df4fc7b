#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <utility>
#include <vector>

#include "rig/core/finding.hpp"
#include "rig/core/strip.hpp"

namespace rig {

/// A file that a run was judged by, as the store keeps it.
struct ReportInput {
  std::string path;
  std::string sha256;  ///< of its bytes, lower-case hexadecimal
};

/// One step of the scenario, in the order of playing. Findings belong to the step whose name they carry.
struct ReportStep {
  std::string name;
  std::string what;  ///< in a few words what it proves; may be empty
  std::vector<Strip> strips = {};
};

/// All that the report of one run says. Plain data: whoever fills it (from the store) decides nothing about looks.
struct RunReport {
  std::int64_t run = 0;  ///< its number in the store
  std::string run_id;    ///< its identity anywhere; may be empty
  std::string serial;
  int attempt = 1;       ///< how many runs the unit has had, this one included
  int reseats = 0;       ///< how many of them ended in a re-seat
  std::string product;   ///< title
  std::string scenario;  ///< title
  std::string scenario_hash;
  std::string purpose;  ///< "end of line", "regression", "trial", "bench"
  std::string bench;
  std::string bench_identity;  ///< what the bench said of itself; may be empty
  std::vector<std::pair<std::string, std::string>>
      identity;  ///< what the module said of itself: ("firmware", "4f1c09")
  std::vector<std::pair<std::string, std::string>> surroundings;  ///< ("ambient", "22.4 degC")
  std::string program_version;                                    ///< "proofstand 0.1.0"
  std::string operator_name;                                      ///< may be empty
  std::string opened_at, closed_at;     ///< wall clock, as they are to be printed ("2026-03-02 07:41:09 UTC")
  std::optional<double> bench_seconds;  ///< how long the bench played
  Verdict verdict = Verdict::void_;
  bool reseat = false;  ///< void because the unit did not sit well: shown as "re-seat"
  std::string reason;   ///< one sentence; may be empty for pass
  std::string barred;   ///< why the unit must not be sold whatever the verdict is; mostly empty
  std::vector<ReportStep> steps;
  std::string strips_missing;     ///< why there are no pictures of what was done to the unit; empty when nothing lacks
  std::vector<Finding> findings;  ///< in the order they were committed
  std::vector<std::string> remarks;  ///< what else a reader must know: segments played again, flags, judged anew
  std::vector<ReportInput> inputs;
  std::string ledger_digest;  ///< of the row that closed the run; may be empty
};

/// One self-contained HTML file: nothing is fetched, no script runs, it prints on A4 and holds in black and white. The
/// same report gives the same bytes.
std::string to_html(const RunReport& report);

}  // namespace rig
