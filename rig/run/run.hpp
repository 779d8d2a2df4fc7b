#pragma once

#include <memory>
#include <mutex>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "rig/compile/plan.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/recording.hpp"
#include "rig/run/verdict.hpp"

/// Carries a plan out on a bench. Owns no timer: only the bench knows time.
namespace rig {

/// How far a run has come.
struct RunProgress {
  std::string_view step;
  std::size_t segments_done = 0, segments_in_all = 0;
  BenchTime bench_time;
};

/// What a run tells while it is on. Called on the run's own thread; must not block for long, since the run's loop is
/// what keeps the bench alive.
class RunListener {
 public:
  virtual ~RunListener() = default;
  virtual void found(const Finding&) {}
  virtual void progressed(const RunProgress&) {}
  virtual void noted(const Note&) {}
  virtual void segment_repeated(std::uint32_t /*segment*/, const std::string& /*why*/) {}
  /// A part of what a step recorded (about 1 MiB), when wants_traces(). Parts of a step count from 0.
  virtual bool wants_traces() const { return false; }
  virtual void recorded(const std::string& /*step*/, std::uint32_t /*part*/, const std::vector<TrackInfo>&,
                        std::vector<Slice>&&) {}
  /// Asked after each segment of a step that judges the unit. True: what was found is enough (a study that looks for
  /// the first sure fail). The unit is cut off, the bench is tested alone, and what was found decides. Ignored where
  /// the bench cannot be tested alone; a run that found no fail then gives no verdict.
  virtual bool knows_enough() const { return false; }
  /// A reason to end the run now (the store does not keep up), or empty.
  virtual std::string must_stop() { return {}; }
};

/// Lets another thread end a run.
class StopSwitch {
 public:
  void stop(std::string reason) noexcept;

 private:
  friend class Runner;
  void attach(drivers::Session* session) noexcept;
  std::mutex mutex_;
  drivers::Session* session_ = nullptr;
  bool stopped_ = false;
  std::string reason_;
};

/// Runs a step's external program beside the bench. Called on the run's own thread, between chunks.
class ProgramRunner {
 public:
  virtual ~ProgramRunner() = default;
  virtual void start(const ProgramCall& call) = 0;
  /// Nothing while it still runs.
  virtual std::optional<ProgramResult> ended() = 0;
  /// Ends it now; what it printed until then is kept.
  virtual void kill() noexcept = 0;
};

struct Outcome {
  Verdict verdict = Verdict::void_;
  std::string reason;
  std::vector<Finding> findings;
  EndState end;
  Nanoseconds bench_duration{0};
  std::size_t segments_played = 0, segments_repeated = 0;
  bool reseat = false;  ///< it ended because the unit does not sit well: re-seat and repeat
};

/// One run of one unit. Never throws for what a bench does: a rig that cannot go on gives a void outcome with its
/// reason.
Outcome run(const Plan& plan, drivers::Bench& bench, RunListener& listener, StopSwitch* stop = nullptr,
            ProgramRunner* programs = nullptr);

}  // namespace rig
