#pragma once

#include <exception>
#include <set>
#include <string>

#include "rig/run/run.hpp"
#include "rig/store/store_writer.hpp"

namespace rig {

class ProgressLine;

/// Hands what a run finds to the store, and to the people once the store has it. A store that fails or falls behind
/// ends the run: the first error is kept and thrown by check().
class RunRecorder final : public RunListener {
 public:
  /// Nothing is told before it is committed: the writer's on_commit must call committed().
  RunRecorder(StoreWriter& writer, RunNumber run, const Capabilities& bench, ProgressLine& progress);

  void found(const Finding& finding) override;
  void progressed(const RunProgress& progress) override;
  void noted(const Note& note) override;
  void segment_repeated(std::uint32_t segment, const std::string& why) override;
  /// Keeps something that happened with the run.
  void event(std::string kind, std::string text, std::string who = {});
  bool wants_traces() const override { return true; }
  void recorded(const std::string& step, std::uint32_t part, const std::vector<TrackInfo>& tracks,
                std::vector<Slice>&& slices) override;
  std::string must_stop() override;
  /// Throws what the store said, if it said anything.
  void check() const;

 private:
  template <class Work>
  void guarded(Work work);
  StoreWriter& writer_;
  RunNumber run_;
  std::uint32_t tick_rate_;
  bool paced_;
  std::vector<std::string> ports_;
  std::set<std::pair<std::string, std::string>> noted_;
  ProgressLine& progress_;
  std::exception_ptr error_;
};

}  // namespace rig
