#pragma once

#include <optional>

/// The resistive network of the speed line, with what capacitance there is at its two ends.
namespace drivers::emulated {

/// The elements in the order of the signal's path; ohms unless said otherwise. What is not there is not connected.
struct SpeedNetwork {
  struct Pull {  ///< towards a voltage, through a resistance
    double ohms = 0, volts = 0;
  };
  std::optional<Pull> drain;              ///< the bench's open drain while it is on: to its foot, with the wire's break
  double load_in = 0;                     ///< siemens of the captures at the sensor's side
  std::optional<double> contact_in;       ///< isolator's contact and fixture's, on the sensor's side
  double drag = 0;                        ///< siemens from the module's input pin to ground
  std::optional<Pull> module_in;          ///< a pull-up at the module's input pin
  std::optional<double> through;          ///< copper from input pin to output pin, or the module's bypass
  std::optional<Pull> stage;              ///< the module's own open drain while it is on
  std::optional<Pull> module_out;         ///< a pull-up at the module's output pin
  std::optional<double> contact_out;      ///< isolator's contact and fixture's, on the controller's side
  std::optional<double> wire_out = 0;     ///< from there on: the break on the controller's side, while it is made
  std::optional<Pull> pull_up;            ///< the bench's, which stands for the controller's
  double load_out = 0;                    ///< siemens of the captures at the controller's side
  std::optional<double> loop_back;        ///< closed: from the sensor's side to the controller's, past the module
  std::optional<double> bus_in, bus_out;  ///< from the fault bus to the module's side of the breaks
  std::optional<Pull> bus;                ///< what else is on the bus
};

/// A pin's voltage once everything has settled, and the time constant with which it gets there (Elmore's: the first
/// moment of its response, exact for one capacitance).
struct SpeedLevel {
  double volts = 0, tau_ns = 0;
};
struct SolvedSpeed {
  SpeedLevel bench_in;   ///< the sensor's side: sense_in, edges_in
  SpeedLevel module_in;  ///< the module's input pin
  SpeedLevel bench_out;  ///< the controller's side: sense_out, edges_out
};

SolvedSpeed solve(const SpeedNetwork& network);
/// The line as it looks from the fault bus, whatever else is on that. REQUIRES: joined to it.
SpeedNetwork::Pull seen_from_bus(SpeedNetwork network);

}  // namespace drivers::emulated
