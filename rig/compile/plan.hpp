#pragma once

#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "rig/compile/scenario.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/complaint.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/recording.hpp"
#include "rig/core/strip.hpp"
#include "rig/core/timeline.hpp"

/// A scenario made ready for one bench: what to play, and how to judge what comes back. Compiled once, then shared by
/// any number of runs: everything in it is constant.
namespace rig {

/// Which track carries what. Every run records the same tracks from arm to safe.
struct TrackMap {
  struct Line {
    TrackId in, out;
  };
  struct RailTracks {
    TrackId controller, sensor;
  };
  std::vector<Line> pressures;  ///< one per Product::pressures
  std::optional<Line> temperature;
  std::vector<RailTracks> rails;  ///< one per Product::rails
  TrackId battery, current;
  TrackId edges_in, edges_out;
  std::optional<TrackId> check_standard;
  std::optional<TrackId> speed_in, speed_out;  ///< the speed line's voltage, as envelopes
  std::optional<TrackId> ground;               ///< the module's sensor-side ground against the bench's zero
  std::optional<TrackId> ambient, fixture;     ///< temperatures
  std::optional<TrackId> service;              ///< bytes; only in windows
  std::vector<Line> fine;                      ///< per pressure: samples, only in windows; empty when no step asks
};

/// What a straight-through plug read on this bench, by characteristic: what the bench itself does to levels, edges and
/// resistances.
struct Baseline {
  std::string run;  ///< the run's id
  std::vector<std::pair<std::string, double>> values;
  std::optional<double> find(std::string_view characteristic) const;
};

/// What is known of a run before it begins, beside its files. Kept with the run, so that it can be judged again.
struct RunFacts {
  std::string serial;
  int reseats = 0;  ///< how often in a row, just before, this serial's runs ended in "re-seat and repeat"
  bool plug_cleared =
      false;  ///< since the first of those, a straight-through plug's contacts have passed on this bench
  std::optional<Baseline> baseline;
};

/// Something a segment told that is kept with the run and is no characteristic: "firmware", "4f1c09".
struct Note {
  std::string kind, text;
};

/// What a judge keeps of one segment for its step's conclusion. The numbers' meaning is the step's own.
struct Reduction {
  std::uint32_t segment = 0;
  std::string voided;  ///< why nothing can be said of this segment; empty when something can
  std::vector<double> numbers;
};

/// What one segment yields.
struct Judged {
  std::vector<Finding> findings;
  Reduction reduction;
  std::vector<Note> notes;
};

/// An external program that a step has run while its segment plays over and over.
struct ProgramCall {
  std::vector<std::string> command;
  Nanoseconds time_out;
};
/// How it went.
struct ProgramResult {
  std::optional<int> exit_code;  ///< nothing: it could not be started, was killed or ran out of time
  std::string trouble;           ///< then why
};

/// A bench's recording as a judge may use it: the tracks' scales, for one session.
struct Scales {
  std::span<const TrackInfo> tracks;
  std::uint32_t tick_rate;
};

/// A stretch of a segment in which the bench itself decides what stands at a pressure's output: it says nothing of the
/// module.
struct Disturbed {
  std::uint32_t segment = 0;
  std::size_t pressure = 0;  ///< into Product::pressures
  Nanoseconds from{0}, to{0};
};

/// One step, asked and judged. Pure: the same slice always gives the same findings, live or from the store.
class CompiledStep {
 public:
  virtual ~CompiledStep() = default;
  CompiledStep(const CompiledStep&) = delete;
  CompiledStep& operator=(const CompiledStep&) = delete;

  const std::string& name() const { return name_; }
  virtual std::string_view kind() const = 0;
  /// Changes whenever the same recording could be judged differently; kept with each run.
  virtual int judge_version() const = 0;
  const std::vector<Segment>& segments() const { return segments_; }
  /// REQUIRES: i < segments().size(), the slice is of that segment.
  virtual Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const = 0;
  /// Characteristics of the step as a whole. One reduction per segment, in order.
  virtual std::vector<Finding> conclude(std::span<const Reduction> reductions) const = 0;
  /// Every characteristic this step yields: one that is missing after the run forbids a pass.
  virtual std::vector<std::string> characteristics() const = 0;
  /// The same segment made fit to be played again out of its order, or nothing when it cannot be.
  virtual std::optional<Segment> again(std::size_t) const { return std::nullopt; }
  /// What segment i shows, to be drawn. REQUIRES: as judge().
  virtual std::vector<Strip> strips(std::size_t, const Slice&, const Scales&) const { return {}; }
  /// Where the bench itself forces outputs: no watch may hold that against the unit.
  virtual std::vector<Disturbed> disturbed() const { return {}; }
  /// Whether its findings speak of the rig alone (void, never fail).
  virtual bool of_the_rig() const { return false; }
  /// Whether its findings speak of how the unit sits in the fixture: when one is void, the run ends in "re-seat and
  /// repeat", counted apart.
  virtual bool of_the_fit() const { return false; }
  /// The program to run during a segment, which is then played over and over until the program has ended.
  virtual const ProgramCall* program_during(std::size_t) const { return nullptr; }
  /// What became of it. Only for segments that have one.
  virtual std::vector<Finding> judge_program(std::size_t, const ProgramResult&) const { return {}; }

 protected:
  explicit CompiledStep(std::string name) : name_{std::move(name)} {}
  std::vector<Segment> segments_;

 private:
  std::string name_;
};

/// Looks at every segment of the run, whatever step it belongs to: the hard ceiling, the connection.
class CompiledWatch {
 public:
  virtual ~CompiledWatch() = default;
  virtual std::string_view name() const = 0;
  virtual int judge_version() const = 0;
  /// Whether its findings speak of the rig alone: one that does not pass voids the run.
  virtual bool of_the_rig() const { return false; }
  virtual Reduction look(const Slice& slice, const Scales& scales) const = 0;
  virtual std::vector<Finding> conclude(std::span<const Reduction> reductions) const = 0;
  virtual std::vector<std::string> characteristics() const = 0;
};

struct Plan {
  Scenario scenario;
  BenchSetup bench;
  RunFacts facts;
  CapturePlan capture;
  TrackMap tracks;
  std::vector<PortLimit> limits;
  std::vector<std::unique_ptr<CompiledStep>> steps;  ///< in playing order; the last is the closing self-test
  std::vector<std::unique_ptr<CompiledWatch>> watches;
  Nanoseconds bound{0};    ///< what physics asks for at least (bench-time), see bound.hpp
  Nanoseconds longest{0};  ///< what it can take at most
  std::size_t segment_count = 0;
};

struct Compiled {
  std::shared_ptr<const Plan> plan;  ///< there exactly when there is no complaint
  Complaints complaints;             ///< what the bench cannot do, by step and port
};

/// Holds a scenario against what a bench can do, and makes the plan. Complaints name step, port and the way out.
Compiled compile(const Scenario& scenario, const BenchSetup& bench, const Capabilities& capabilities,
                 const RunFacts& facts = {});

}  // namespace rig
