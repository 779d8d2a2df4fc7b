#pragma once

#include <array>
#include <optional>

/// The resistive network of one pressure or temperature line: solved once for each position of its switches, after
/// which every pin's voltage is a fixed mixture of the voltages that drive it.
namespace drivers::emulated {

/// The elements in the order of the signal's path; ohms. What is not there is not connected.
struct LineNetwork {
  std::optional<double> source;        ///< driven source: its emulated resistance
  double source_side_load = 0;         ///< siemens to ground before the fault switch (a sense there)
  std::optional<double> fault_switch;  ///< closed: contact resistance
  double sense_in_load = 0;            ///< siemens to ground behind the fault switch
  std::optional<double> isolator;      ///< closed: contact resistance, on both sides of the module
  double leakage = 0;                  ///< siemens from the module's input pin to ground
  std::optional<double> through;       ///< from the module's input pin to its output pin (bypass relay, straight wire)
  std::optional<double> output;        ///< the output stage's resistance, when connected
  std::optional<double> module_pull_up;      ///< from the module's input pin to the 5 V rail
  double sense_out_load = 0;                 ///< siemens to ground at the controller's side
  std::optional<double> pull_up, pull_down;  ///< the controller's load, with its relay's contact, when switched in
  std::optional<double> loop_back;           ///< closed: from the bench's side of sense_in to that of sense_out
};

/// How much of source, output stage and 5 V rail a pin sees.
using Mixture = std::array<double, 3>;
enum Driver { kSource = 0, kOutput = 1, kRail = 2 };

struct SolvedLine {
  Mixture source_side;  ///< before the fault switch
  Mixture bench_in;     ///< behind the fault switch: sense_in
  Mixture module_in;    ///< the module's input pin
  Mixture module_out;   ///< the module's output pin
  Mixture bench_out;    ///< sense_out, the controller's side
};

SolvedLine solve(const LineNetwork& network);

}  // namespace drivers::emulated
