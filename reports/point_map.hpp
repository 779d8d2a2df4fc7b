#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/finding.hpp"

namespace rig {

/// Where in the map a finding was measured, as its identifier says.
struct MapPlace {
  std::string channel;  ///< "manifold_pressure"
  double rpm = 0, kpa = 0;
  std::optional<double> degrees;  ///< Celsius; nothing for a product without temperature
  bool from_above = false;        ///< the point was approached by falling pressure
};
std::optional<MapPlace> map_place(std::string_view id);

struct MapPoint {
  MapPlace at;
  const Finding* finding;
};

/// The findings of one channel of one step that lie on a grid of speed and pressure. Axes ascend.
struct PointMap {
  std::string step, channel;
  std::string in;
  std::vector<double> speeds, pressures;
  std::vector<std::optional<double>> temperatures;  ///< one entry, empty, for a product without temperature
  std::vector<MapPoint> points;
};

/// Every grid of at least two speeds by two pressures among the findings, in their order. They must outlive the maps.
std::vector<PointMap> point_maps(const std::vector<Finding>& findings);

/// True if a table of single findings leaves this one out because a map shows it.
bool shown_in(const std::vector<PointMap>& maps, const Finding& finding);

/// The worse of two findings of one place: fail before void before undecided before pass, then the smaller margin.
const Finding& worse(const Finding& a, const Finding& b);

/// "manifold_pressure" as people write it: "manifold pressure".
std::string spoken(std::string_view name);
/// "pass through: unpowered, charge pressure" for step and subject of a characteristic.
std::string spoken_subject(std::string_view step, std::string_view subject);
/// "3500 rpm, 180 kPa, 60 °C, from above"; empty where there are none.
std::string spoken_conditions(const Finding& finding);
/// "sweep: manifold pressure, at 3500 rpm, 180 kPa, 60 °C, from above"; the identifier itself where it is none of ours.
std::string spoken_place(const Finding& finding);

}  // namespace rig
