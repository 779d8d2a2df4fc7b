#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rig/core/quantity.hpp"

/// Courses of the battery voltage, modelled on the clauses of ISO 16750-2 for 12 V systems as far as a slow unipolar
/// supply can follow them. Every figure's source and every deviation stands with the course: what is run here is never
/// a test "to" the standard.
namespace rig {

/// A corner of a course; straight between corners.
struct SupplyCorner {
  Nanoseconds at{0};
  Volts to;
};

using Corners = std::vector<SupplyCorner>;
/// The level at an instant; before the first corner and after the last one theirs. REQUIRES: corners not empty.
Volts level_at(const Corners& corners, Nanoseconds at);

struct SupplyCourse {
  std::string name;                     ///< "starting profile, level I"
  std::string modelled_on;              ///< "ISO 16750-2, 4.6.3"; empty: on no clause
  std::string source;                   ///< of its figures
  std::vector<std::string> deviations;  ///< from the clause, in words
  Corners corners;                      ///< the first at 0, times never falling
  Nanoseconds duration() const { return corners.back().at; }
  /// REQUIRES: 0 <= at <= duration().
  Volts at(Nanoseconds at) const;
};

/// What the supply can follow.
struct SupplyLimits {
  Volts highest{20};
  double volts_per_second = 1000;
};

/// A short dip: `to` for `hold`, by edges of `edge` at most (4.6.1).
struct MomentaryDrop {
  Volts from{9}, to{4.5};
  Nanoseconds hold{100'000'000}, edge{10'000'000};
};
/// Down from the lowest supply in steps of 5 %, each held for `step` and followed by `recovery` at the lowest supply,
/// until nothing is left (4.6.2).
struct ResetStaircase {
  Volts lowest{6};
  Nanoseconds step{5'000'000'000}, recovery{10'000'000'000}, edge{1'000'000};
};
/// The starter turns the engine (4.6.3).
enum class StartingLevel { one, two, three, four };
struct StartingProfile {
  StartingLevel level = StartingLevel::one;
};
/// To zero and back at a steady rate (4.5).
struct SlowRamps {
  Volts from{6};
  double volts_per_minute = 0.5;
};
/// A sine on the supply, slow enough for this bench. Modelled on no clause: 4.4 asks for up to 25 kHz.
struct SlowRipple {
  Volts around{13.8}, peak_to_peak{2};
  Hertz frequency{50};
  Nanoseconds length{2'000'000'000};
};
using SupplyShape = std::variant<MomentaryDrop, ResetStaircase, StartingProfile, SlowRamps, SlowRipple>;

/// The course, or why this supply cannot follow it.
std::variant<SupplyCourse, std::string> supply_course(const SupplyShape& shape, const SupplyLimits& limits);

/// Why a pulse that needs a special generator is refused: which clause it belongs to, which limit is missed, what kind
/// of generator it takes. Names: load_dump_a, load_dump_b, reversed, overvoltage_24v, superimposed_ac, pulse_1,
/// pulse_2a, pulse_2b, pulse_3a, pulse_3b. Nothing for a name that is none of them.
std::optional<std::string> refused_pulse(std::string_view name);

}  // namespace rig
