#pragma once

#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rig/compile/dynamics_spec.hpp"
#include "rig/compile/fault_spec.hpp"
#include "rig/compile/replay_spec.hpp"
#include "rig/compile/supply_spec.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/product.hpp"
#include "rig/core/quantity.hpp"

/// A scenario as its file describes it, checked and with every word resolved against its product. Plain data.
namespace rig {

/// A tolerance that holds in a part of the map. Limits are inclusive; missing ones do not limit.
struct BandRegion {
  std::optional<Rpm> speed_from, speed_to;
  std::optional<Kilopascals> pressure_from, pressure_to;
  std::optional<Celsius> temperature_from, temperature_to;
  Tolerance tolerance;  ///< kPa
};

struct SelfTestSpec {
  std::string name = "self_test";
  std::vector<Volts> levels{Volts{0.5}, Volts{2.5}, Volts{4.5}};  ///< each source, each capture
  Rpm speed{3000};
};

struct PowerUpSpec {
  std::string name = "power_up";
  int repeat = 3;
  Nanoseconds off{300'000'000};  ///< supply off between two starts
  Rpm speed{3500};               ///< where it starts: a point with a large shift, so that the start can be seen
  Kilopascals pressure{200};     ///< of the pressure that indexes the tables
  /// Every other start is here, where nothing is shifted: what an output does between its input and the table is seen.
  struct Unshifted {
    Rpm speed;
    Kilopascals pressure;
  };
  std::optional<Unshifted> also_at = {};
  Volts glitch{0.05};  ///< how far an output may leave the span between its input and its expected level
};

enum class PassThroughState {
  unpowered,
  battery_only,
  rails_only,
  booting,
  zero_speed,
  idle,
  bypassed,
  sensor_low,
  sensor_high,
  no_ground  ///< the module's ground pin open, everything else on
};
struct PassThroughSpec {
  std::string name = "pass_through";
  std::vector<PassThroughState> states;
  std::vector<Kilopascals> pressures{Kilopascals{70}, Kilopascals{80}, Kilopascals{90}, Kilopascals{100}};
  Rpm idle_speed{800};
  Tolerance band{0.010, 0};          ///< V, out against in
  Tolerance passive_band{0.005, 0};  ///< V, where the module is not powered or bypassed
  Volts rail_distance{0.1};          ///< sensor_low, sensor_high: how near the output must come to the rail
  Volts input_band{0.005};  ///< how far the unit may pull an input away from its source, beyond the bench's own limits
};

struct SweepSpec {
  std::string name = "sweep";
  std::vector<Rpm> speeds;             ///< in the file's order or ascending; the compiler chooses the order of playing
  std::vector<Kilopascals> pressures;  ///< of the pressure that indexes the tables
  std::vector<Celsius> temperatures;   ///< empty for a product without temperature
  std::vector<Kilopascals> throttle_drop{Kilopascals{6},
                                         Kilopascals{18}};  ///< charge - manifold, taken in turn from point to point
  double from_above = 0.1;                                  ///< share of points also approached from above
  Tolerance band{1.5, 0};                                   ///< kPa
  std::vector<BandRegion> regions;                          ///< the last one that holds wins
  Tolerance agreement{1.0, 0};                              ///< kPa
  Tolerance response{0.03, 0};                              ///< of the 2 x 2 response, kPa per kPa
  Tolerance temperature_band{1.0, 0};                       ///< K, of the temperature line's output against its input
  Tolerance hysteresis{0.5, 0};  ///< kPa, of a point's reading from above against the one from below
  Volts input_band{0.005};  ///< how far the unit may pull an input away from its source, beyond the bench's own limits
  Volts noise{0.015};       ///< largest peak-to-peak of a settled output
};

/// Does the unit sit well in the fixture? Before any power, at low level: opens, shorts, resistance from pin to pin.
struct ContactsSpec {
  std::string name = "contacts";
  Volts level{1.0};         ///< on one line after the other
  Volts lowest_level{0.2};  ///< on the lines that must not follow; also on the 5 V rails, for their copper
  int reseats = 2;          ///< how often in a row a unit may be put in again before its own contact is to blame
  std::optional<Ohms> most_through;  ///< of a line from pin to pin; nothing: the product's
};

/// How a module is supplied.
enum class SupplyState { unpowered, battery_only, rails_only, powered };
/// What the module does to its wires: to its sensors' lines, to a controller behind its outputs, to rails and ground.
struct LoadingSpec {
  std::string name = "loading";
  std::vector<SupplyState> states{SupplyState::unpowered, SupplyState::battery_only, SupplyState::rails_only,
                                  SupplyState::powered};
  std::vector<Kilopascals> pressures{Kilopascals{60}, Kilopascals{200}};  ///< each line is looked at at each
  Rpm speed{3500};                                                        ///< while powered
  Volts rail_distance{0.1};  ///< how near a driven output must come to either rail against its heaviest load
};

/// The speed line as its product says it is: copper that is tapped, or edges made anew.
struct SpeedLineSpec {
  std::string name = "speed_line";
  std::vector<Rpm> speeds{Rpm{800}, Rpm{3500}};
  Rpm seen_at{2000};          ///< where the table is steep over speed, so that a miscounted edge shows as a wrong cell
  Kilopascals pressure{200};  ///< of the pressure that indexes the tables
  bool raised_lows = true, lowered_highs = true, slow_noisy_edges = true;
  Tolerance band{1.5, 0};  ///< kPa, of the outputs while the levels are off
};

/// Asks the module who it is over its service port.
struct IdentifySpec {
  std::string name = "identify";
  std::vector<std::string> questions;  ///< by name; empty: all of the product's
};

/// Runs an external program (to load and lock firmware) while the module is powered or not, and waits for it.
struct ProgramSpec {
  std::string name = "program";
  std::vector<std::string> command;  ///< program and arguments; {serial} stands for the unit's serial number
  Nanoseconds time_out{120'000'000'000};
  bool powered = true;
};

/// The bench alone: its own drift over a stretch of time must be small before it may judge.
struct WarmUpSpec {
  std::string name = "warm_up";
  Nanoseconds over{300'000'000'000};
  Volts level{2.5};
  Volts most_drift{0.002};  ///< a tenth of the narrowest band, common practice, no source
};

using StepSpec =
    std::variant<SelfTestSpec, PowerUpSpec, PassThroughSpec, SweepSpec, ContactsSpec, LoadingSpec, SpeedLineSpec,
                 IdentifySpec, ProgramSpec, WarmUpSpec, FaultSpec, StepResponseSpec, HoldSpec, ReplaySpec, SupplySpec>;

/// bench: about the stand itself (shift start, bring-up), whatever is fitted meanwhile.
enum class Purpose { end_of_line, regression, trial, bench };

struct Scenario {
  std::string name;
  std::string title;
  Purpose purpose = Purpose::end_of_line;
  std::shared_ptr<const Product> product;
  std::vector<StepSpec> steps;
};

}  // namespace rig
