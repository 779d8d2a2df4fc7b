#pragma once

#include <span>
#include <string>
#include <vector>

#include "rig/compile/judgement.hpp"
#include "rig/compile/plan.hpp"
#include "rig/compile/readings.hpp"
#include "rig/compile/speed_circuit.hpp"

namespace rig {

/// What one segment of the step `speed_line` is for, and the stretch of it that is looked at.
struct SpeedLook {
  enum class At { nothing, unpowered, own_pull_up, levels, raised_lows, lowered_highs, slow_noisy_edges };
  At at = At::nothing;
  Rpm speed{0};
  Nanoseconds from{0}, to{0};  ///< from the segment's start, whole bins
  Nanoseconds clean{0};  ///< thresholds: where a settle window begins in which the edges are still as they should be
};

/// Whether a pull-up in the module would be a fault of it, and one that can be told.
bool judges_own_pull_up(const Product& product);
/// Whether the resistance from pin to pin can be told from the current of the controller's pull-up.
bool judges_through(const Product& product);

/// The judge of the step `speed_line` (speed_line_step.hpp says what it judges).
class SpeedLineJudge {
 public:
  SpeedLineJudge(const SpeedLineSpec& spec, const RunFacts& facts, const Product& product, const BenchSetup& bench,
                 const TrackMap& tracks);
  Judged look(const SpeedLook& look, const Slice& slice, const Scales& scales) const;
  std::vector<Finding> conclude(std::span<const SpeedLook> looks, std::span<const Reduction> reductions) const;
  std::vector<std::string> characteristics(std::span<const SpeedLook> looks) const;

 private:
  struct Levels {
    double low = 0, high = 0;
    std::size_t bins = 0;
  };
  /// What is kept of a segment with steady levels: a Reduction's numbers.
  struct Kept {
    double in, missing, extra;
    double rising_us, falling_us;  ///< NaN: no such pair
    double spread_us, tick_us;
  };
  std::string id(const std::string& what) const { return spec_.name + "/" + what; }
  Named named(const std::string& what, const char* in) const { return {id(what), spec_.name, in}; }
  bool tapped() const { return product_.speed.routing == SpeedRouting::tapped; }
  const Port& sense_in() const { return bench_.ports[index(*bench_.wiring.speed.sense_in)]; }
  const Port& sense_out() const { return bench_.ports[index(*bench_.wiring.speed.sense_out)]; }
  std::vector<Named> owed(SpeedLook::At at) const;
  std::vector<Named> owed_in_the_end() const;
  bool slowest(const SpeedLook& look) const;

  static Levels levels(const Readings& readings, TrackId track, const SpeedLook& look);
  /// A finding against what the straight-through plug read, whose own uncertainty counts too.
  Finding against_plug(Named what, double value, Band band, double uncertainty, std::uint32_t segment) const;
  Finding of_whom(Finding finding) const;

  std::vector<Finding> judge_levels(const Readings& readings, const SpeedLook& look) const;
  Finding judge_through(const Levels& in, const Levels& out, std::uint32_t segment) const;
  Finding judge_low(const Levels& out, std::uint32_t segment) const;
  Finding judge_high(const std::string& what, const Levels& out, std::uint32_t segment) const;
  Finding judge_own_pull_up(const Levels& in, const Levels& out, std::uint32_t segment) const;

  Kept keep(const Readings& readings, const SpeedLook& look) const;
  Finding conclude_count(std::span<const Kept> all) const;
  Finding conclude_shift(std::span<const Kept> all) const;
  Finding conclude_delay(std::span<const Kept> all) const;
  Finding conclude_jitter(std::span<const Kept> all) const;
  double edge_uncertainty(double tick_us, bool skews_cancel) const;

  // What the module makes of levels and edges that are off (speed_line_thresholds.cpp).
  std::vector<Finding> judge_threshold(const Readings& readings, const SpeedLook& look) const;
  /// Why the module was not put to this test, so that nothing may be said for it.
  std::string not_tested(const Readings& readings, const SpeedLook& look) const;
  /// Why the test asked more than the product promises, so that nothing may be said against it.
  std::string overstepped(const Readings& readings, const SpeedLook& look) const;

  SpeedLineSpec spec_;
  RunFacts facts_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  SpeedCircuit circuit_;
};

}  // namespace rig
