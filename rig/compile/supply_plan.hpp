#pragma once

#include <optional>
#include <string>
#include <variant>
#include <vector>

#include "rig/compile/supply_spec.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

/// Courses of the supplies made ready to be played: every supply's corners, cut into segments. Pure.
namespace rig {

/// Below this share of the lowest voltage of its range a supply is missing: the module must pass through. Between the
/// two it may do either (common practice, no source).
constexpr double kMissingBelow = 0.8;

/// A stretch of a course that is one segment.
struct SupplyPiece {
  Nanoseconds from{0}, length{0};
  /// How long ago, at its start, a supply was last below its range; and how long one has been missing. By the plan.
  std::optional<Nanoseconds> since_low;
  Nanoseconds missing{0};
  std::optional<Volts> level;  ///< a rail stands at this at the piece's end, so that its outputs can be read
};

/// One course with all supplies; it begins and ends with each at its nominal voltage.
struct PlayedCourse {
  std::string name;   ///< "starting_profile_1", "reference/rail_5v"
  std::string title;  ///< "starting profile, level I"
  std::string told;   ///< what it is modelled on, the source of its figures, every deviation
  Corners battery;
  std::vector<Corners> rails;
  std::optional<std::size_t> rail;  ///< which rail the course is about; nothing: the battery
  std::vector<SupplyPiece> pieces;
  bool goes_low = false, goes_missing = false;  ///< below a range; missing for longer than the module may take
  Nanoseconds duration() const { return battery.back().at; }
};

/// What the bench's battery supply can follow.
SupplyLimits battery_limits(const Port& supply);

/// Every course of the step in playing order, or why a course cannot be played on this bench ("course 'x': ...").
std::variant<std::vector<PlayedCourse>, std::vector<std::string>> played_courses(const SupplySpec& spec,
                                                                                 const Product& product,
                                                                                 const BenchSetup& bench);

}  // namespace rig
