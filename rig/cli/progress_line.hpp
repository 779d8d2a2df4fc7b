#pragma once

#include <chrono>
#include <mutex>
#include <optional>
#include <string>

#include "rig/core/finding.hpp"
#include "rig/run/run.hpp"

namespace rig {

/// One line on a terminal that tells how far a run has come: step, points done, time left, worst margin so far. Nothing
/// is written where standard error is no terminal.
class ProgressLine {
 public:
  ProgressLine();
  ~ProgressLine();
  void show(const RunProgress& progress);
  /// A finding that the store has. Any thread.
  void committed(const Finding& finding);

 private:
  bool on_terminal_;
  std::chrono::steady_clock::time_point started_, shown_{};
  std::mutex mutex_;
  std::optional<double> worst_;  ///< margin as a share of half the band
  std::string worst_id_;
  int not_passed_ = 0;
};

}  // namespace rig
