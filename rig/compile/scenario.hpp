#pragma once

#include <memory>
#include <optional>
#include <string>
#include <variant>
#include <vector>

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
  Volts glitch{0.05};            ///< how far an output may leave the span between its input and its expected level
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
  sensor_high
};
struct PassThroughSpec {
  std::string name = "pass_through";
  std::vector<PassThroughState> states;
  std::vector<Kilopascals> pressures{Kilopascals{70}, Kilopascals{80}, Kilopascals{90}, Kilopascals{100}};
  Rpm idle_speed{800};
  Tolerance band{0.010, 0};          ///< V, out against in
  Tolerance passive_band{0.005, 0};  ///< V, where the module is not powered or bypassed
  Volts rail_distance{0.1};          ///< sensor_low, sensor_high: how near the output must come to the rail
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

using StepSpec = std::variant<SelfTestSpec, PowerUpSpec, PassThroughSpec, SweepSpec>;

enum class Purpose { end_of_line, regression, trial };

struct Scenario {
  std::string name;
  std::string title;
  Purpose purpose = Purpose::end_of_line;
  std::shared_ptr<const Product> product;
  std::vector<StepSpec> steps;
};

}  // namespace rig
