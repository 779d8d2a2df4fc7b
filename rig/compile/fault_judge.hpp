#pragma once

#include <string>
#include <vector>

#include "rig/compile/fault_onset.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/core/finding.hpp"

namespace rig {

/// Judges how a module took one fault. Pure.
///   reaction      ms from the fault at the pin until the output is where it belongs and stays there
///   never_hidden  V at the controller that stands nearest to a valid reading, once the deadline has passed
///   spike         ms at the longest that the output is neither input nor table nor on the way between them
///   recovery      ms from the fault's end at the pin (of a program that stands still: from when it was made to) until
///                 the output is back on the table and stays there
///   ramp_in       ms in which the shift grows from a tenth to nine tenths when it comes back
///   latched       V, output against input, as long as it must stay fallen back
class FaultJudge {
 public:
  FaultJudge(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const FaultSpec& spec,
             const FaultCase& one);

  /// Of the fault's own segment.
  std::vector<Finding> judge(const Readings& readings) const;
  /// Of the power cycle after a fault that latches: `from` is when power comes back, from its segment's start.
  std::vector<Finding> judge_restart(const Readings& readings, Nanoseconds from) const;
  std::vector<std::string> ids() const;
  std::vector<std::string> restart_ids() const;

  const FaultCase& fault() const { return one_; }
  const FaultTimes& times() const { return times_; }
  /// The output of a wire that the bench itself breaks or shorts on the controller's side is not the module's.
  bool forced(std::size_t channel) const;
  OutputReaction must(std::size_t channel) const;
  /// Where an output belongs while the fault is there. `grow`: V, wider by the doubt of what is compared.
  Corridor belongs(std::size_t channel, const FaultCourse& course, double grow) const;
  std::string id(std::string_view what, std::string_view of) const;
  /// "charge_pressure open, drawn up"
  std::string words() const;

 private:
  struct Reaction {
    double ms = 0, doubt_ms = 0;  ///< expanded
    enum class Ended { complete, doubtful, never } ended = Ended::complete;
  };
  /// No verdict either way, and why.
  static Finding undecided(Named what, std::string reason, std::uint32_t segment);
  Named named(std::string_view what, std::string_view of, std::string_view in) const;
  std::string trouble(const Readings& readings) const;
  bool looked_closely(const FaultCourse& course) const;
  Finding untold(Named what, std::size_t channel, Untold why, std::uint32_t segment) const;
  bool is_own(std::size_t channel) const;
  bool ramps() const;
  bool shows_sensor_fault() const;
  bool owes_never_hidden(std::size_t channel) const;
  bool on_temperature() const;
  double level_doubt(std::size_t channel) const;
  double moment_doubt(const Moment& moment, std::size_t channel) const;
  bool was_on_table(std::size_t channel, const FaultCourse& course) const;
  Reaction reaction(std::size_t channel, const FaultCourse& course, const Moment& came) const;
  Finding judge_reaction(std::size_t channel, const FaultCourse& course, const Onset& onset,
                         std::uint32_t segment) const;
  Finding judge_hidden(std::size_t channel, const FaultCourse& course, const Onset& onset, std::uint32_t segment) const;
  Finding judge_hidden_temperature(const Readings& readings, const Onset& onset) const;
  Finding judge_spike(std::size_t channel, const FaultCourse& course, std::uint32_t segment) const;
  Finding judge_recovery(std::size_t channel, const FaultCourse& course, const Moment& gone,
                         std::uint32_t segment) const;
  Finding judge_ramp(std::size_t channel, const FaultCourse& course, const Moment& gone, std::uint32_t segment) const;
  Finding judge_latched(std::size_t channel, const FaultCourse& course, std::uint32_t segment) const;

  const Product& product_;
  const BenchSetup& bench_;
  const TrackMap& tracks_;
  const FaultSpec& spec_;
  const FaultCase& one_;
  FaultTimes times_;
  std::vector<std::size_t> own_;
  std::vector<PortId> expected_;
};

}  // namespace rig
