#pragma once

#include <string>
#include <vector>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The part of the self-test that proves what the bench does to wires on purpose, the unit cut off and the loop-back
/// closed: a fault that does not come would make a unit look good that hides it. Of each line: its way to the fault bus
/// and the tie there by what they pull it down to, its break by what then no longer does, what is worn in its place by
/// what a load draws through it; and that it stays where it is while another line is tied. Of the bus: each tie.
class SelfTestFaults {
 public:
  SelfTestFaults(const Product& product, const BenchSetup& bench, const TrackMap& tracks);
  /// From lines made and free on; leaves them so, at a level near zero. `levels`: of the self-test.
  void write(const std::vector<Volts>& levels, Script& script, std::vector<Segment>& segments);
  bool is_look(std::size_t segment) const;
  Reduction look(const Readings& readings) const { return looking_.look(readings); }
  /// Of the whole step's reductions.
  std::vector<Finding> conclude(const std::string& step, std::span<const Reduction> reductions) const;
  std::vector<std::string> ids(const std::string& step) const;

 private:
  /// Segments in which a line is looked at; 0: it is not.
  struct LineLooks {
    std::size_t tied = 0;                      ///< on the sensors' side
    std::size_t out_broken = 0, out_tied = 0;  ///< on the controller's side
  };
  /// What is on the bus at present.
  struct Joint {
    std::optional<PortId> way, tie;
  };
  using Reductions = std::span<const Reduction>;

  const WireSwitches* switches(std::size_t line, ConnectorSide side) const {
    return bus_.wire(lines_[line].name, side);
  }
  /// A line that can be on the bus can hang on it: that shows while another one is tied.
  bool stays_while_others_go(std::size_t line) const;
  bool wears(std::size_t line) const;
  const WireSwitches* request() const;
  void join(Joint next, Script& script);
  std::size_t look_again(Script& script, std::vector<Segment>& segments);
  void write_ties(Script& script, std::vector<Segment>& segments);
  void write_others(Script& script, std::vector<Segment>& segments);
  void write_worn(Script& script, std::vector<Segment>& segments);

  const Port& port(PortId id) const { return bench_.ports[index(id)]; }
  double contact(std::optional<PortId> relay) const { return relay ? port(*relay).resistance.value() : 0; }
  /// What the line's source sees up to where the line joins the bus.
  double source_ohms(std::size_t line) const;
  /// A level whose source can pull against the ground tie without coming to its current limit.
  Volts gentle(std::size_t line) const;
  Look at(Reductions r, std::size_t segment, TrackId track) const { return looking_.at(r[segment], track); }

  Finding judge_tie(Named what, std::size_t line, std::size_t tied, ConnectorSide side, Reductions r) const;
  Finding judge_break(Named what, std::size_t line, Reductions r) const;
  Finding judge_apart(Named what, std::size_t line, Reductions r) const;
  Finding judge_worn(Named what, std::size_t line, Reductions r) const;
  Finding judge_bias(Named what, bool up, Reductions r) const;
  Finding judge_request(Named what, Reductions r) const;
  Finding judge_reach(Named what, const FaultBus::Tie& tie, std::size_t tied, TrackId supply, Reductions r) const;

  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  FaultBus bus_;
  std::vector<BenchLine> lines_;
  Looking looking_;
  std::optional<std::size_t> through_;  ///< the line by which the other ties are looked at
  std::vector<LineLooks> looks_;
  Joint joint_;
  // Segments, as in LineLooks: lines free at either level, worn, and the one line tied to all else.
  std::size_t gentle_ = 0, free_ = 0, worn_ = 0, up_ = 0, down_ = 0, request_ = 0, reference_ = 0, battery_ = 0;
};

}  // namespace rig
