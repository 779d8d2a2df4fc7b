#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/connector_side.hpp"
#include "rig/core/controller_input.hpp"
#include "rig/core/fault.hpp"
#include "rig/core/quantity.hpp"
#include "rig/core/sensor_curve.hpp"
#include "rig/core/table.hpp"
#include "rig/core/wheel.hpp"

/// A type of module, as its product file describes it. Plain data; rig/compile reads and checks it.
namespace rig {

/// reported = measured - shift(speed, pressure) x derate(temperature), then the channel's limits.
struct Shift {
  std::size_t table = 0;              ///< into Product::tables: axes rpm, kPa; cells kPa
  std::size_t index_pressure = 0;     ///< into Product::pressures: which measured pressure indexes the table
  std::optional<std::size_t> derate;  ///< into Product::tables: axis degC; cells a factor
};

/// Never to be passed, whatever tables and bands say; judged over every reading of the whole run.
struct HardCeiling {
  Kilopascals most_hidden{35};                    ///< largest (in - out)
  Kilopascals most_added{2};                      ///< largest (out - in): the sign the product permits is the other one
  Volts lowest_output{0.2}, highest_output{4.8};  ///< while the input itself is valid
  Nanoseconds longest_outside{50'000'000};
};

struct PressureChannel {
  std::string name;  ///< charge_pressure or manifold_pressure
  PressureCurve curve;
  DiagnosticRails rails;
  Kilopascals lowest_input, highest_input;  ///< what the sensor may see; the sweep stays inside
  Ohms source_resistance{100};              ///< of the sensor it stands for
  Amperes source_current{0.005};            ///< what that sensor can give
  ControllerInput controller;
  std::size_t rail = 0;  ///< into Product::rails
  std::optional<Shift> shift;
  Kilopascals lowest_reported, highest_reported;  ///< the product's limits on its output
  HardCeiling ceiling;
};

enum class TemperatureRouting { straight, tapped, redriven };
/// Where a line's pull-up sits.
enum class PullUpPlace { controller, module, both };
struct TemperatureChannel {
  std::string name;  ///< intake_temperature
  TemperatureCurve curve;
  Celsius lowest, highest;
  TemperatureRouting routing = TemperatureRouting::straight;
  PullUpPlace pull_up_at = PullUpPlace::controller;
  std::size_t rail = 0;
};

/// tapped: both sides are the same copper and the module only listens. regenerated: the module makes the edges anew.
enum class SpeedRouting { tapped, regenerated };
/// What the module's own speed input must make of a level: where it may decide lies between the two.
struct SpeedInput {
  Volts reads_low_below{1.0};
  Volts reads_high_above{3.5};
  Volts least_hysteresis{0.2};  ///< noise smaller than this (peak to peak) makes no further edges
};
struct SpeedLine {
  Wheel wheel;
  SpeedRouting routing = SpeedRouting::tapped;
  Ohms pull_up{1200};
  Volts pull_up_to{5};
  PullUpPlace pull_up_at = PullUpPlace::controller;
  Rpm highest{8000};  ///< what the module must cope with
  SpeedInput input = {};
  Volts highest_low{0.5}, lowest_high{4.5};  ///< what the controller must see
  Ohms most_through{5};                      ///< tapped: from pin to pin
  Nanoseconds most_edge_shift{2'000};        ///< tapped: out against in, beyond a straight-through plug's
  Nanoseconds most_delay{50'000};            ///< regenerated: out against in
  Nanoseconds most_jitter{5'000};            ///< regenerated: spread of the delay, peak to peak
};

/// What the module may do to the wires it sits in, as promised for every unit.
struct WireLimits {
  Ohms least_input{470e3};         ///< between a sensor's line and ground or rail, powered or not
  Ohms most_output{150};           ///< source resistance of an output that the module drives
  Ohms most_through{10};           ///< from pin to pin of a line, bypassed or straight, contacts included
  Ohms most_ground{0.2};           ///< sensor ground through the module
  Volts most_rail_drop{0.02};      ///< of a 5 V rail through the module, at the bench's sensor load
  Volts most_ground_shift{0.010};  ///< of the sensors' ground against the controller's, while the module works
  Volts most_cross_feed{0.05};     ///< of a 5 V rail that is off, while everything else is on
};

/// A pin of the module's connectors.
struct Pin {
  std::string name;  ///< as the drawing has it: "S3"
  ConnectorSide side = ConnectorSide::sensor;
  std::string carries;  ///< a channel, a rail, "speed", "battery", "ground", "sensor_ground", "service", ...
  std::vector<std::string> next_to;  ///< the pins beside it, by name; the relation goes both ways
};

/// How the answer to a question over the service port is judged.
enum class AnswerIs {
  kept,         ///< whatever it says is kept with the run; it must only be the same at the run's end
  release,      ///< must be `expect`
  unit_serial,  ///< must be the serial number the run was started for
};
/// One thing the module can be asked: bytes out, bytes back until a terminator or a length, and what in them counts.
struct ServiceQuestion {
  std::string name;  ///< serial, hardware, firmware, table, faults
  std::vector<std::uint8_t> send;
  std::vector<std::uint8_t> until;  ///< empty: the length counts
  std::uint32_t length = 0;
  std::string pattern;  ///< a regular expression (ECMAScript) over the reply; its first group is the answer
  AnswerIs is = AnswerIs::kept;
  std::string expect;  ///< with `release`
};
struct ServicePort {
  std::uint32_t baud = 115200;  ///< 8 data bits, no parity, one stop bit
  Nanoseconds time_out{200'000'000};
  int retries = 1;
  std::vector<ServiceQuestion> questions;
  /// What makes its program stand still, for proving its watchdog; it answers nothing. Empty: it cannot be asked to.
  std::vector<std::uint8_t> hang = {};
};

struct Rail {
  std::string name;  ///< rail_5v
  Volts nominal{5}, lowest{4.5}, highest{5.5};
};

struct Battery {
  Volts nominal{13.8}, lowest{6}, highest{16};
  Amperes idle_low{0}, idle_high{0.2};  ///< what a working unit draws
  Amperes highest_inrush{1};            ///< of the 1 ms means while it starts
};

/// When an output may be believed.
struct Timing {
  Nanoseconds boot{300'000'000};    ///< from supply to working, at most
  double speed_intervals = 3;       ///< longest falling-edge intervals before a new speed counts
  Nanoseconds latency{10'000'000};  ///< from an input's change to the output's first answer, at most
  Nanoseconds slowest{10'000'000};  ///< largest time constant of the output
  Nanoseconds settle_window{20'000'000};
  Volts settle_span{0.004};
  Nanoseconds settle_limit{250'000'000};  ///< from the change to settled, at most; a characteristic
  Nanoseconds ramp_in{0};  ///< the shift grows to its full size over this, after a start (within `boot`) and after a
                           ///< fall-back; 0: at once
};

/// A line that, grounded, asks the module to fall back to pass-through.
struct BypassRequest {
  std::string line;  ///< bypass_request
};

/// How the emulated module is built, and how good units spread (limits of a uniform spread about the nominal).
struct ModuleBuild {
  Nanoseconds sample_period{1'000'000};
  Nanoseconds input_filter{2'000'000}, output_filter{3'000'000};  ///< time constants
  int adc_bits = 12, dac_bits = 12;
  Nanoseconds boot{180'000'000};
  double speed_timeout_intervals = 3;
  Ohms bypass_resistance{1}, output_resistance{47}, input_leakage{2.2e6};
  Ohms rail_resistance{0.1}, ground_resistance{0.02}, speed_resistance{0.1};  ///< copper from pin to pin
  /// How its program finds faults and falls back to pass-through.
  struct Failsafe {
    Nanoseconds debounce{15'000'000};  ///< an input beyond its rails for this long makes it fall back
    Nanoseconds healthy{400'000'000};  ///< all inputs valid for this long make it shift again
    Nanoseconds ramp_in{80'000'000};   ///< the shift grows over this
    int latch_after = 4;               ///< so many fall-backs within `latch_within` hold until power is cycled
    Nanoseconds latch_within{10'000'000'000};
    Volts brown_out{5.5},
        works_again{5.9};              ///< battery: under the one it falls back and resets, above the other it boots
    Nanoseconds watchdog{40'000'000};  ///< a program that stands still is reset after this
    Kilopascals disagreement{40};      ///< the pressure behind the throttle this far above the one before it, for the
                                       ///< debounce, makes it fall back; the other way round is a closed throttle
  } failsafe;
  Amperes idle_current{0.06}, inrush_current{0.3};
  Nanoseconds inrush_time{4'000'000};
  struct Spread {
    double gain = 0.001;  ///< of the output voltage
    Volts offset{0.003};
    double current = 0.1, boot = 0.1, filter = 0.1;  ///< relative
    Ohms bypass{0.5};
  } spread;
};

struct NamedTable {
  std::string name;
  Table table;
};

struct Product {
  std::string name;   ///< two-pressure-turbo, as the file says
  std::string title;  ///< for people
  std::string
      serial_pattern;  ///< what its serial numbers look like, for people ("A followed by 5 digits"); may be empty
  std::vector<NamedTable> tables;
  SpeedLine speed;
  std::vector<PressureChannel> pressures;  ///< one or two, in the file's order
  std::optional<TemperatureChannel> temperature;
  std::vector<Rail> rails;  ///< one or two
  Battery battery;
  Timing timing;
  std::optional<BypassRequest> bypass_request = {};
  WireLimits wires = {};
  std::vector<Pin> pins = {};                ///< every pin of its connectors; may be empty
  std::optional<ServicePort> service = {};   ///< where it has one
  std::vector<ReactionRule> reactions = {};  ///< what it owes when something breaks; the last rule that holds wins
  bool straight_through = false;             ///< a plug that joins each line to itself: draws nothing, shifts nothing
  ModuleBuild build = {};
};

std::optional<std::size_t> find_pressure(const Product& product, std::string_view name);

}  // namespace rig
