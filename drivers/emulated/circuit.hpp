#pragma once

#include <cstddef>
#include <optional>
#include <vector>

#include "drivers/emulated/network.hpp"

/// Battery, 5 V rails and the module's ground: one network, because the sensors' currents and a leak between the rails
/// join them; and, while the fault bus is in use, every line with them.
namespace drivers::emulated {

/// What a supply is; ohms unless said otherwise. What is not there is not connected.
struct SupplyFeed {
  std::optional<double> source;   ///< its resistance while driven; or that of whatever feeds an open rail
  std::optional<double> limited;  ///< A: then it gives this instead, whatever its voltage
  std::optional<double> wire;     ///< from its terminals to the sense: the break, or a worn contact in its place
};

/// One rail in the order of its path.
struct RailNetwork {
  SupplyFeed feed;                    ///< the controller's pull-ups hang on its terminals
  double leakage = 0;                 ///< A out of the supply's and the sense's terminals
  double sense_controller_load = 0;   ///< siemens to zero
  std::optional<double> contact_in;   ///< isolator's contact and fixture's, on the controller's side
  double own_draw = 0;                ///< siemens from the module's controller-side pin to its ground
  std::optional<double> copper;       ///< through the module
  std::optional<double> contact_out;  ///< fixture's, on the sensors' side
  double sense_sensor_load = 0;       ///< siemens to zero
  std::optional<double> sensors;      ///< what the sensors draw, to the module's sensor-side ground pin
};

struct BatteryNetwork {
  SupplyFeed feed;
  double sense_load = 0;  ///< siemens to zero, at the module's pin
  bool draws = true;      ///< false: the module has no way to its current
};

/// The fault bus: one node, what ties it, and what is joined to it; ohms, relays' contacts included.
struct BusNetwork {
  struct Joint {
    std::optional<double> sensor, controller;  ///< to a wire's two sides
  };
  /// Something outside of this network, as it looks from the bus.
  struct Thevenin {
    double ohms = 0, volts = 0;
  };
  std::optional<double> ground, reference, battery, bias_up, bias_down;
  std::vector<Joint> lines, rails;        ///< as the circuit's
  std::optional<double> to_battery;       ///< to the battery's wire at the module's pin
  std::optional<double> to_request;       ///< to the module's bypass request pin
  std::optional<double> request_relay;    ///< from that pin to zero: somebody asks for the bypass
  std::optional<double> request_pull_up;  ///< within the module
  std::optional<Thevenin> speed;          ///< the speed line
};

struct JoinedLine {
  const LineNetwork* network;  ///< its rail and ground are nodes here, whatever mixtures it names
  std::size_t rail;
};

struct Circuit {
  std::vector<RailNetwork> rails;    ///< one or two
  std::optional<double> cross_feed;  ///< between the two rails within the module
  std::optional<double> ground;      ///< from the module's ground to zero: contact and copper. Nothing: broken
  BatteryNetwork battery;
  std::optional<BusNetwork> bus;
  std::vector<JoinedLine> lines;  ///< with a bus only
};

struct SolvedRail {
  Mixture supply;             ///< the supply's terminals
  Mixture controller;         ///< sense_controller
  Mixture module_controller;  ///< the module's pin on the controller's side
  Mixture module_sensor;      ///< its pin on the sensors' side
  Mixture sensor;             ///< sense_sensor
};
/// Mixtures as the first line sees them (source_of()).
struct SolvedCircuit {
  std::vector<SolvedRail> rails;
  /// The module's ground. With the ground broken nothing flows through it any more (what flows back there has no other
  /// way, and the unit stops drawing), and what is left of the network holds it at zero.
  Mixture ground{};
  Mixture battery_supply{}, battery{};  ///< the supply's terminals, and the module's pin
  std::vector<SolvedLine> lines;
  Mixture bus{}, request{};
  double bus_ohms = 0;  ///< what the bus looks like from outside, the speed line included
};

SolvedCircuit solve(const Circuit& circuit);

}  // namespace drivers::emulated
