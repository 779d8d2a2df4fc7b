#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/emulated/defects.hpp"
#include "drivers/emulated/module_failsafe.hpp"
#include "drivers/emulated/module_table.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// One pressure channel of one built module.
struct ChannelBuild {
  double gain = 1, offset = 0;  ///< of the output stage: V = V * gain + offset
  double rail_distance = 0.02;  ///< how near the output stage comes to ground and rail, V
  double bypass_ohms = 1;       ///< closed contact of its bypass relay
  bool has_bypass = true;
  double output_filter_ns = 0;
  double noise = 0;               ///< V, standard deviation from sample to sample
  double glitch = 0;              ///< V, while the module takes over
  double tenth_start_glitch = 0;  ///< V, the same at every tenth start only
  double crosstalk = 0;
  std::optional<double> stuck_at;  ///< V
  double output_ohms = 47;         ///< of its output stage
  std::int64_t shift_short = 0;    ///< tenths of kPa missing where it is shifted
  std::int64_t shift_extra = 0;    ///< tenths of kPa more at the largest shift
  TableQuirks quirks;
  bool derated = true;
  bool adds_shift = false;  ///< instead of subtracting it
  double backlash_kpa = 0;  ///< the measured pressure comes this much later from above than from below
  double limit_cycle = 0;   ///< V, peak to peak, by which the output swings
  double volts_per_kelvin = 0, volts_per_volt = 0;  ///< of the output: fixture's temperature, battery's voltage
  bool ignores_reference = false;                   ///< the output is made as if the 5 V rail had its nominal voltage
  bool hides_low = false, hides_high = false;  ///< an input beyond its lower, its upper rail is held at its last value
};

/// What the unit does to the wire of one pressure or temperature line, beside its channel's part.
struct WireBuild {
  double through_ohms = 0.1;         ///< from pin to pin: copper, or the bypass relay's closed contact
  double worn_ohms = 0;              ///< more in the unit's own pin, on the controller's side
  std::optional<double> clamp_ohms;  ///< from the input pin through a diode into the supply inside, 0 V without battery
  bool open = false;                 ///< what goes straight through is broken between the two pins
};

/// The copper of one 5 V rail, from the controller's pin to the sensors'.
struct RailBuild {
  double ohms = 0.1;  ///< worn pins included
  bool open = false;  ///< broken
};

/// What the unit is to the speed line.
struct SpeedBuild {
  double through_ohms = 0.1;                    ///< tapped: copper from pin to pin, worn pins included
  bool open = false;                            ///< broken there
  std::optional<double> drag_ohms = {};         ///< from the input pin to ground
  std::optional<double> own_pull_up = {};       ///< ohm from the input pin to the first 5 V rail, where none belongs
  double lower = 2, upper = 2.5;                ///< V, the thresholds of its comparator
  std::int64_t delay_ns = 2000, jitter_ns = 0;  ///< regenerated: of its own stage; the jitter is half of its spread
};

/// A module as it left the line: the product's nominal build, this unit's place in the spread, and its defects.
struct UnitBuild {
  std::string serial;
  std::vector<ChannelBuild> channels;  ///< one per pressure of the product
  std::vector<double> leakage;         ///< siemens at the input pin, per pressure and then the temperature
  std::vector<WireBuild> wires;        ///< one per pressure and then the temperature
  std::vector<RailBuild> rails;        ///< one per rail of the product
  double ground_ohms = 0.02;           ///< copper of its ground, worn pins included
  SpeedBuild speed;
  std::optional<double> cross_feed;   ///< ohm between the product's first two rails
  std::optional<double> float_volts;  ///< without a ground its outputs stay connected and float to this
  double input_filter_ns = 0;
  std::int64_t boot_ns = 0;
  std::int64_t sample_ns = 1, sample_phase_ns = 0;
  double idle_current = 0, inrush_current = 0;
  std::int64_t inrush_ns = 0;
  FailsafeBuild failsafe;
  bool keeps_speed = false;        ///< the last speed counts for ever
  bool counts_rising = false;      ///< rising edges count as well as falling ones
  std::int64_t speed_age_ns = 0;   ///< the speed it reckons with is this old
  double relay_spike = 0;          ///< V, on its outputs when the relay drops out
  std::int64_t output_gap_ns = 0;  ///< now and then the contact to its outputs opens for this
  bool channels_swapped = false;
  bool other_firmware = false, other_table = false;  ///< what it says of itself over the service port
  int start_phase = 0;                               ///< 0 to 9: which of ten starts is the one of tenth_start_glitch
};

/// The spread is a pure function of the serial number. Throws rig::RigFault when a defect names no channel of the
/// product's, or one it cannot act on.
UnitBuild build_unit(const rig::Product& product, const std::string& serial, const std::vector<Defect>& defects,
                     bool nominal);

}  // namespace drivers::emulated
