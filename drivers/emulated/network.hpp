#pragma once

#include <array>
#include <cstddef>
#include <optional>

/// The resistive network of one pressure or temperature line: solved once for each position of its switches, after
/// which every pin's voltage is a fixed mixture of what drives it.
namespace drivers::emulated {

/// What drives a pin. The first ones move in time, the rest only in steps.
enum Driver : std::size_t {
  kSource,       ///< V, of the line's source (or of the only source there is)
  kOutput,       ///< V, of the module's output stage
  kRail,         ///< V, of the first 5 V rail's supply
  kRailTwo,      ///< V, of the second's
  kBattery,      ///< V, of the battery's supply
  kOtherSource,  ///< V, of another line's source, seen through the fault bus; behind it that line's output, then the
                 ///< next line's two
  kCurrent = kOtherSource + 6,  ///< A, that the module draws from the battery and sends back through its ground
  kInside,                      ///< V, of the supply inside the module
  kOne,                         ///< always 1: what is constant hangs on it
};
constexpr std::size_t kMovingDrivers = kCurrent, kDrivers = kOne + 1;
constexpr std::size_t kLineDrivers = kBattery;        ///< what moves on a line by itself
constexpr std::size_t kSupplyDrivers = kOtherSource;  ///< what moves where the rails and the battery are one net
constexpr std::size_t kMostLines = 4;                 ///< that the fault bus can join

/// How much of each driver a pin sees.
using Mixture = std::array<double, kDrivers>;
constexpr Mixture only(Driver driver, double share = 1) {
  Mixture mixture{};
  mixture[driver] = share;
  return mixture;
}
constexpr Mixture sum(const Mixture& a, const Mixture& b, double share_of_b = 1) {
  Mixture total{};
  for (std::size_t d = 0; d < kDrivers; ++d) total[d] = a[d] + share_of_b * b[d];
  return total;
}

/// The driver of one of several lines in a mixture that they share, which is written as the first of them sees it.
constexpr Driver source_of(std::size_t line) {
  return line == 0 ? kSource : static_cast<Driver>(kOtherSource + 2 * (line - 1));
}
constexpr Driver output_of(std::size_t line) { return static_cast<Driver>(source_of(line) + 1); }
/// A shared mixture as one of the lines sees it: its own drivers first, those of the first line in its place.
constexpr Mixture seen_by(std::size_t line, const Mixture& shared) {
  Mixture own = shared;
  own[kSource] = shared[source_of(line)], own[source_of(line)] = shared[kSource];
  own[kOutput] = shared[output_of(line)], own[output_of(line)] = shared[kOutput];
  return own;
}

constexpr double kDiode = 0.6;  ///< V, where a diode begins to conduct

/// The elements in the order of the signal's path; ohms unless said otherwise. What is not there is not connected.
struct LineNetwork {
  std::optional<double> source;            ///< driven source: its emulated resistance
  std::optional<double> source_limited;    ///< A: then the source gives this instead, whatever its voltage
  double source_leakage = 0;               ///< A out of the source while it is not driven
  double source_side_load = 0;             ///< siemens to zero before the fault switch (a sense there)
  double source_side_leakage = 0;          ///< A out of that sense
  std::optional<double> fault_switch;      ///< closed, or a worn contact in its place: resistance
  double sense_in_load = 0;                ///< siemens to zero behind the fault switch
  double sense_in_leakage = 0;             ///< A out of that sense
  std::optional<double> contact_in;        ///< isolator's contact and fixture's, on the sensors' side
  double leakage = 0;                      ///< siemens from the module's input pin to its ground
  std::optional<double> clamp_high;        ///< a diode that conducts, from the input pin into the module's supply
  std::optional<double> clamp_low;         ///< one from the module's ground to the input pin
  std::optional<double> module_pull_up;    ///< from the module's input pin to its 5 V rail
  std::optional<double> through;           ///< from input pin to output pin (bypass relay, straight wire)
  std::optional<double> output;            ///< the output stage's resistance, when connected
  std::optional<double> contact_out;       ///< isolator's contact and fixture's, on the controller's side
  std::optional<double> wire_out = 0;      ///< from there on: the break on the controller's side, while it is made
  double sense_out_load = 0;               ///< siemens to zero at the controller's side
  double sense_out_leakage = 0;            ///< A out of that sense
  std::optional<double> pull_up;           ///< to the controller's 5 V rail; with its relay's contact, when switched in
  std::optional<double> pull_down;         ///< to zero; likewise
  std::optional<double> second_pull_up;    ///< of the second load
  std::optional<double> second_pull_down;  ///< of the second load
  std::optional<double> loop_back;         ///< closed: from the bench's side of sense_in to that of sense_out
  Mixture rail = only(kRail);              ///< what the controller's 5 V rail is made of
  Mixture module_rail = only(kRail);       ///< the same rail within the module
  Mixture ground{};                        ///< the module's ground
};

struct SolvedLine {
  Mixture source_side;  ///< before the fault switch
  Mixture bench_in;     ///< behind the fault switch: sense_in
  Mixture module_in;    ///< the module's input pin
  Mixture module_out;   ///< the module's output pin
  Mixture bench_out;    ///< sense_out, the controller's side
  /// What flows into the line out of its 5 V rail: siemens * the rail's voltage - A.
  double draws_from_rail = 0;
  Mixture feeds_rail{};
};

SolvedLine solve(const LineNetwork& network);

}  // namespace drivers::emulated
