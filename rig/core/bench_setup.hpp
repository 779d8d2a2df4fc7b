#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/capabilities.hpp"
#include "rig/core/connector_side.hpp"
#include "rig/core/controller_input.hpp"

/// A bench as its file describes it: the instruments' ports, and which of them is wired to which of a product's lines.
namespace rig {

/// A known resistance that a relay switches onto a line's controller side. An input of neither pull-up nor pull-down
/// stands for the product's own controller input.
struct Load {
  PortId relay;
  ControllerInput is = {};
  double error = 0.002;  ///< limit of error of its resistances, of their value
};
/// The wiring of one pressure or temperature line, in the fixed order: source, its resistance, fault switch, sense_in,
/// module pin ... module pin, sense_out, loads, controller's side.
struct LineWiring {
  std::string channel;  ///< the product's name for it
  PortId source;
  PortId sense_in, sense_out;
  std::optional<PortId> fault_switch = {};  ///< relay, closed at rest (line made)
  std::optional<Load> load = {};            ///< stands for the controller's input
  std::optional<Load> second_load = {};     ///< a heavier one, so that a source resistance shows
};
/// The speed line: the source's open drain pulls the sensor's side down to `foot`; the pull-up stands on the side that
/// the product says and goes to `pull_up_supply`.
struct SpeedWiring {
  PortId source;
  PortId edges_in, edges_out;
  std::optional<PortId> sense_in = {},
                        sense_out = {};       ///< the line's voltage on the sensor's and the controller's side
  std::optional<PortId> foot = {};            ///< voltage source: what the drain pulls down to; none: ground
  std::optional<PortId> pull_up_supply = {};  ///< voltage source: what the pull-up goes to; none: the product's voltage
  std::optional<PortId> pull_up_switch = {};  ///< relay, closed at rest; open: no pull-up on the bench's side
  struct SlowEdges {
    PortId relay;  ///< closed: edges rise and fall with this time constant
    Nanoseconds time_constant{100'000};
  };
  std::optional<SlowEdges> slow_edges = {};
  struct Noise {
    PortId relay;  ///< closed: a square wave rides on the line
    Volts peak_to_peak{0.15};
    Nanoseconds period{20'000};
  };
  std::optional<Noise> noise = {};
};
struct RailWiring {
  std::string rail;
  PortId source;
  PortId sense_controller, sense_sensor;
  std::optional<Load> sensor_load = {};  ///< pull-down on the sensors' side: what the sensors draw
};
/// Grounds. The bench's zero is the controller's sensor-ground pin; every reading is differential to it.
struct GroundWiring {
  std::optional<PortId> sense = {};        ///< the module's sensor-side ground pin against zero
  std::optional<PortId> break_relay = {};  ///< relay, closed at rest; open: the module has no ground
};
/// A resistance in the place of a wire, as a worn contact is one: the relay lies across the wire's break.
struct WornContact {
  PortId relay;
  Ohms resistance{1000};
  double error = 0.01;  ///< limit of error of it, of its value
};
/// What the bench can do on purpose to one wire on one side of the module. From the bench: break (with what is worn
/// across it), bus, the module's pin. A line's sense_in, and the senses of battery and rails, sit at the module's pin;
/// sense_out and edges_out beyond the break, where the controller is.
struct WireSwitches {
  std::string wire;  ///< a channel, a rail, "speed", "battery", "ground", "bypass_request"
  ConnectorSide side = ConnectorSide::sensor;
  std::optional<PortId> break_relay = {};  ///< closed at rest. Not here where the wiring has one already: break_of()
  std::optional<WornContact> worn = {};
  std::optional<PortId> to_bus = {};  ///< joins the module's side of the break to the fault bus
};
/// One node that wires can be joined to, and what it can be joined to itself: two wires on it touch each other.
struct FaultBus {
  /// A relay and the resistance with it; of the relay's own contact besides.
  struct Tie {
    PortId relay;
    Ohms resistance{10};
    double error = 0.01;  ///< limit of error of it, of its value
  };
  std::optional<Tie> ground = {}, reference = {}, battery = {};  ///< reference: the first 5 V rail's supply
  std::optional<Tie> bias_up = {},
                     bias_down = {};  ///< large: to the first 5 V rail's supply and to zero, for an open wire
  std::vector<WireSwitches> wires = {};
  const WireSwitches* wire(std::string_view name, ConnectorSide side) const;
};
struct Wiring {
  std::vector<LineWiring> lines;
  SpeedWiring speed;
  std::vector<RailWiring> rails;
  PortId battery, battery_sense, battery_current;
  GroundWiring ground;
  FaultBus faults;
  std::optional<PortId> service = {};                ///< service_port
  std::optional<PortId> ambient = {}, fixture = {};  ///< temperature_sense: the room, the fixture
  std::optional<PortId> bypass_request = {};         ///< relay that grounds the module's request line
  std::optional<PortId> isolator = {};               ///< relay: open, the unit is cut off from every line of the bench
  std::optional<PortId> loop_back =
      {};  ///< relay: closed, each line's source reaches its sense_out too (unit isolated)
  std::optional<PortId> check_standard = {};  ///< voltage_sense on an independent fixed voltage
  const LineWiring* line(std::string_view channel) const;
  const RailWiring* rail(std::string_view name) const;
};

/// physical = (read + offset) * gain, in the port's unit. Applied by the judge to what a sense read.
struct Calibration {
  double offset = 0;
  double gain = 1;
};

struct BenchSetup {
  std::string name;
  std::string driver;  ///< a name in drivers/registry.cpp: "emulated", "board"
  std::vector<Port> ports;
  Wiring wiring;
  std::vector<Calibration> calibration;  ///< one per port
  Volts check_standard_value{2.5};
  Volts check_standard_error{0.002};        ///< limit of error, from its certificate
  std::uint64_t seed = 1;                   ///< emulated: draws this bench's own errors within the ports' limits
  bool perfect = false;                     ///< emulated: no errors, no noise
  double noise_codes = 0.5;                 ///< emulated: converter noise, standard deviation in codes
  std::string device;                       ///< board: the serial port
  std::uint32_t baud = 3'000'000;           ///< board
  Nanoseconds reply_time_out{250'000'000};  ///< board: how long a reply may take
  std::string shift_start_scenario;  ///< path of a scenario that must have passed here lately; empty: none need have
  Nanoseconds shift_start_every{0};  ///< how lately, before an end-of-line run
};

/// The relay that breaks a wire: a line's fault switch on the sensors' side, the break in the ground, or the fault
/// bus's own. Nothing where the bench cannot.
std::optional<PortId> break_of(const Wiring& wiring, std::string_view wire, ConnectorSide side);

/// The relays whose state of rest is closed: fault switches, breaks, the speed line's pull-up.
std::vector<PortId> closed_at_rest(const Wiring& wiring);

/// What an emulated bench built from this setup can do (also what a board bench's file promises before `hello`).
Capabilities capabilities_of(const BenchSetup& setup);

}  // namespace rig
