#pragma once

#include <string>
#include <variant>
#include <vector>

#include "rig/compile/supply_course.hpp"
#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"

namespace rig {

/// A course of the battery that the scenario draws itself.
struct OwnCourse {
  Corners corners;
};
/// Each 5 V rail in turn at levels within its range, the others at their nominal voltage: every output follows its own.
struct ReferenceLevels {
  std::vector<Volts> levels{Volts{4.5}, Volts{4.75}, Volts{5.25}, Volts{5.5}};
  Nanoseconds hold{150'000'000};
};
/// Each 5 V rail in turn down to the lowest, up to the highest and back, slowly.
struct ReferenceRamp {
  Volts lowest{4.5}, highest{5.5};
  Nanoseconds over{500'000'000};  ///< each of the three ways
};
/// Each 5 V rail in turn far below its range for a while: the module passes through, and comes back by itself.
struct ReferenceDrop {
  Volts to{2.5};
  Nanoseconds hold{100'000'000}, edge{10'000'000};
};
using SupplyCourseShape = std::variant<SupplyShape, OwnCourse, ReferenceLevels, ReferenceRamp, ReferenceDrop>;

struct SupplyCourseSpec {
  std::string name;  ///< findings are found by it for ever: "starting_profile_1"
  SupplyCourseShape shape;
};

/// What the module does while its supplies are not what they should be. Above the product's lowest battery voltage (and
/// lowest rail) it works, in its band; a fifth below that it passes through; between the two either.
struct SupplySpec {
  std::string name = "supply";
  Rpm speed{3500};
  Kilopascals pressure{200};  ///< of the pressure that indexes the tables
  std::vector<SupplyCourseSpec> courses;
  Tolerance band{1.5, 0};                ///< kPa, while it must work
  Volts passive_band{0.010};             ///< out against in, while it must pass through
  Nanoseconds falls_back{20'000'000};    ///< passes through this long after a supply went missing, at most
  Nanoseconds recovery{500'000'000};     ///< works again this long after every supply is back, at most
  Nanoseconds longest_spike{2'000'000};  ///< an output may be elsewhere than between its input and the table this long
};

/// What an end-of-line scenario plays when it names no courses.
std::vector<SupplyCourseSpec> usual_supply_courses();

}  // namespace rig
