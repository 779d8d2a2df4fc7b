#pragma once

#include <string>
#include <vector>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"
#include "rig/compile/script.hpp"

namespace rig {

/// The part of the self-test that proves the load bank: with the loop-back closed, each load must draw its line down
/// (or pull it up) by what its value says, and let it go again. What it draws through is the source's resistance and
/// the closed fault switch: they are judged by it. The rails' sensor loads show meanwhile that the isolator is open.
class SelfTestLoads {
 public:
  SelfTestLoads(const Product& product, const BenchSetup& bench, const TrackMap& tracks);
  void write(const std::vector<Volts>& levels, Script& script, std::vector<Segment>& segments);
  bool is_look(std::size_t segment) const;
  Reduction look(const Readings& readings) const { return looking_.look(readings); }
  /// Of the whole step's reductions.
  std::vector<Finding> conclude(const std::string& step, std::span<const Reduction> reductions) const;
  std::vector<std::string> ids(const std::string& step) const;

 private:
  struct Looks {
    std::size_t before = 0, closed = 0, after = 0;  ///< segments
  };
  KnownLoad load(std::size_t line, bool second) const;
  /// What the source sees: its sensor's resistance and the closed fault switch.
  double source_ohms(std::size_t line) const;
  /// What closing a load moves the line by.
  double expected(std::size_t line, bool second, double before, double rail) const;
  bool has(std::size_t line, bool second) const {
    return (second ? lines_[line].wiring->second_load : lines_[line].wiring->load) && load(line, second).any();
  }
  Finding judge_load(Named what, std::size_t line, bool second, std::span<const Reduction> r) const;
  Finding judge_release(Named what, std::size_t line, bool second, std::span<const Reduction> r) const;
  Finding judge_switch(Named what, std::size_t line, bool second, std::span<const Reduction> r) const;
  Finding judge_isolator(Named what, std::size_t rail, std::span<const Reduction> r) const;

  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> lines_;
  Looking looking_;
  Looks looks_[2];
};

}  // namespace rig
