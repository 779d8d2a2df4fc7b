#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/capabilities.hpp"

/// A bench as its file describes it: the instruments' ports, and which of them is wired to which of a product's lines.
namespace rig {

/// The wiring of one pressure or temperature line, in the fixed order: source, its resistance, fault switch, sense_in,
/// module pin ... module pin, sense_out, load, controller's side.
struct LineWiring {
  std::string channel;  ///< the product's name for it
  PortId source;
  PortId sense_in, sense_out;
  std::optional<PortId> fault_switch;  ///< relay, closed at rest (line made)
  std::optional<PortId> load;          ///< relay that switches the controller's load in
};
struct SpeedWiring {
  PortId source;
  PortId edges_in, edges_out;
  std::optional<PortId> sense_in;  ///< the line's voltage
};
struct RailWiring {
  std::string rail;
  PortId source;
  PortId sense_controller, sense_sensor;
};
struct Wiring {
  std::vector<LineWiring> lines;
  SpeedWiring speed;
  std::vector<RailWiring> rails;
  PortId battery, battery_sense, battery_current;
  std::optional<PortId> bypass_request;  ///< relay that grounds the module's request line
  std::optional<PortId> isolator;        ///< relay: open, the unit is cut off from every line of the bench
  std::optional<PortId> loop_back;  ///< relay: closed, each line's source reaches its sense_out too (unit isolated)
  std::optional<PortId> check_standard;  ///< voltage_sense on an independent fixed voltage
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
};

/// What an emulated bench built from this setup can do (also what a board bench's file promises before `hello`).
Capabilities capabilities_of(const BenchSetup& setup);

}  // namespace rig
