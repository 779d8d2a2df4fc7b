#include "rig/compile/supply_course.hpp"

#include <algorithm>
#include <array>
#include <cmath>
#include <numbers>

#include <fmt/format.h>

#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

Nanoseconds of_seconds(double s) { return Nanoseconds{std::llround(s * 1e9)}; }

/// Writes corners one after another, no edge quicker than the supply can follow.
class CourseWriter {
 public:
  CourseWriter(SupplyCourse& course, const SupplyLimits& limits, Volts from) : course_{course}, limits_{limits} {
    course_.corners.push_back({0ns, from});
  }
  /// A straight edge of `wanted`, or as long as the supply needs; then a deviation is noted once.
  void edge(Volts to, Nanoseconds wanted) {
    const Volts from = course_.corners.back().to;
    const Nanoseconds needed = of_seconds(std::abs(to.value() - from.value()) / limits_.volts_per_second);
    if (needed > wanted && !slower_noted_) {
      slower_noted_ = true;
      course_.deviations.push_back(
          fmt::format("edges are slower: {} to {} takes {} instead of {} (the supply follows {:g} V/ms)", to_text(from),
                      to_text(to), to_text(needed), to_text(wanted), limits_.volts_per_second / 1000));
    }
    add(std::max(needed, wanted), to);
  }
  void hold(Nanoseconds length) { add(length, course_.corners.back().to); }
  /// A sine about the present level, from its upper peak, in 32 straight pieces a period.
  void ripple(Volts around, Volts peak_to_peak, Hertz frequency, Nanoseconds length) {
    constexpr int kPieces = 32;
    const double period = 1 / frequency.value();
    const Nanoseconds start = course_.corners.back().at;
    const auto pieces = static_cast<int>(std::lround(seconds(length) / period * kPieces));
    for (int i = 1; i <= pieces; ++i) {
      const double phase = 2 * std::numbers::pi * i / kPieces;
      course_.corners.push_back(
          {start + of_seconds(i * period / kPieces), around + peak_to_peak * (0.5 * std::cos(phase))});
    }
  }

 private:
  void add(Nanoseconds length, Volts to) { course_.corners.push_back({course_.corners.back().at + length, to}); }
  SupplyCourse& course_;
  const SupplyLimits& limits_;
  bool slower_noted_ = false;
};

SupplyCourse write(const MomentaryDrop& drop, const SupplyLimits& limits) {
  SupplyCourse course{"momentary drop", "ISO 16750-2, 4.6.1", "4.5 V for 100 ms, edges of 10 ms at most", {}, {}};
  CourseWriter writer{course, limits, drop.from};
  writer.hold(20ms);
  writer.edge(drop.to, std::min<Nanoseconds>(drop.edge, 10ms));
  writer.hold(drop.hold);
  writer.edge(drop.from, std::min<Nanoseconds>(drop.edge, 10ms));
  writer.hold(500ms);
  if (drop.to != Volts{4.5} || drop.hold != 100ms)
    course.deviations.push_back(
        fmt::format("drops to {} for {} (the clause: 4.5 V for 100 ms)", to_text(drop.to), to_text(drop.hold)));
  return course;
}

SupplyCourse write(const ResetStaircase& stairs, const SupplyLimits& limits) {
  SupplyCourse course{
      "reset staircase", "ISO 16750-2, 4.6.2", "5 % steps of 5 s, 10 s at the lowest supply after each", {}, {}};
  CourseWriter writer{course, limits, stairs.lowest};
  writer.hold(stairs.recovery);
  for (int percent = 95; percent >= 0; percent -= 5) {
    writer.edge(stairs.lowest * (percent / 100.0), stairs.edge);
    writer.hold(stairs.step);
    writer.edge(stairs.lowest, stairs.edge);
    writer.hold(stairs.recovery);
  }
  if (stairs.step != 5s || stairs.recovery != 10s)
    course.deviations.push_back(fmt::format("steps of {}, {} between them (the clause: 5 s and 10 s)",
                                            to_text(stairs.step), to_text(stairs.recovery)));
  return course;
}

/// US6, US, how long the ripple lasts and how long the rise takes (12 V systems).
struct StartingFigures {
  const char* name;
  double us6, us;
  Nanoseconds ripple, rise;
  const char* source;
};
constexpr std::array<StartingFigures, 4> kStarting{{
    {"I", 8.0, 9.5, 1s, 40ms, "2003 edition"},
    {"II", 4.5, 6.5, 10s, 100ms, "from memory"},
    {"III", 3.0, 5.0, 1s, 100ms, "from memory"},
    {"IV", 6.0, 6.5, 10s, 100ms, "2012 edition"},
}};

SupplyCourse write(const StartingProfile& profile, const SupplyLimits& limits) {
  const auto& level = kStarting[static_cast<std::size_t>(profile.level)];
  SupplyCourse course{fmt::format("starting profile, level {}", level.name),
                      "ISO 16750-2, 4.6.3",
                      fmt::format("fall 5 ms, 15 ms, rise 50 ms, 2 Hz of 2 V peak to peak, rise ({})", level.source),
                      {},
                      {}};
  constexpr Volts kAtRest{13.5}, kPeak{1};
  CourseWriter writer{course, limits, kAtRest};
  writer.hold(100ms);
  writer.edge(Volts{level.us6}, 5ms);
  writer.hold(15ms);
  writer.edge(Volts{level.us} + kPeak, 50ms);  // the ripple begins at its upper peak
  writer.ripple(Volts{level.us}, 2 * kPeak, Hertz{2}, level.ripple);
  writer.edge(kAtRest, level.rise);
  writer.hold(500ms);
  return course;
}

SupplyCourse write(const SlowRamps& ramps, const SupplyLimits& limits) {
  SupplyCourse course{"slow decrease and increase", "ISO 16750-2, 4.5", "0.5 V/min, give or take 0.1", {}, {}};
  CourseWriter writer{course, limits, ramps.from};
  const auto length = of_seconds(ramps.from.value() / ramps.volts_per_minute * 60);
  writer.edge(Volts{0}, length);
  writer.edge(ramps.from, length);
  writer.hold(1s);
  if (std::abs(ramps.volts_per_minute - 0.5) > 0.1 + 1e-9)
    course.deviations.push_back(fmt::format("{:g} V/min (the clause: 0.5 V/min)", ramps.volts_per_minute));
  return course;
}

SupplyCourse write(const SlowRipple& ripple, const SupplyLimits& limits) {
  SupplyCourse course{"slow ripple", "", "common practice, no source", {}, {}};
  CourseWriter writer{course, limits, ripple.around + ripple.peak_to_peak * 0.5};
  writer.ripple(ripple.around, ripple.peak_to_peak, ripple.frequency, ripple.length);
  course.deviations.push_back("one slow frequency; ISO 16750-2, 4.4 sweeps 50 Hz to 25 kHz, which this supply cannot");
  return course;
}

std::optional<std::string> trouble(const SupplyShape& shape, const SupplyCourse& course, const SupplyLimits& limits) {
  if (const auto* ripple = std::get_if<SlowRipple>(&shape)) {
    const double steepest = std::numbers::pi * ripple->frequency.value() * ripple->peak_to_peak.value();
    if (steepest > limits.volts_per_second)
      return fmt::format("{} of {} needs {:.3g} V/s, the supply follows {:.3g} V/s", to_text(ripple->frequency),
                         to_text(ripple->peak_to_peak), steepest, limits.volts_per_second);
  }
  for (const auto& corner : course.corners) {
    if (corner.to > limits.highest)
      return fmt::format("it reaches {}, the supply ends at {}", to_text(corner.to), to_text(limits.highest));
    if (corner.to < Volts{0}) return "it goes below zero, the supply does not";
  }
  return std::nullopt;
}

struct Refusal {
  std::string_view name, why;
};
constexpr Refusal kRefused[] = {
    {"load_dump_a",
     "load dump (ISO 16750-2, 4.6.4, test A): 79 to 101 V from 0.5 to 4 ohm for 40 to 400 ms; the supply "
     "ends at 20 V. It takes a load-dump generator and the protection that goes with its energy"},
    {"load_dump_b",
     "load dump, clamped (ISO 16750-2, 4.6.4, test B): 35 V; the supply ends at 20 V. It takes a load-dump "
     "generator"},
    {"reversed",
     "reversed voltage (ISO 16750-2, 4.7): down to -14 V; the supply is unipolar. It takes a reversing relay "
     "with a current limit, and a unit that is not sold afterwards"},
    {"overvoltage_24v",
     "jump start (ISO 16750-2, 4.3): 24 V or 26 V for 60 s; the supply ends at 20 V. It takes a supply "
     "of 30 V"},
    {"superimposed_ac",
     "superimposed alternating voltage (ISO 16750-2, 4.4): 50 Hz to 25 kHz at up to 4 V peak to peak "
     "needs 0.31 V/us; the supply follows 1 V/ms. It takes an amplifier of that bandwidth"},
    {"pulse_1", "pulse 1 (ISO 7637-2): down to -150 V within 1 us. It takes a transient generator"},
    {"pulse_2a", "pulse 2a (ISO 7637-2): up to +112 V within 1 us. It takes a transient generator"},
    {"pulse_2b",
     "pulse 2b (ISO 7637-2): +10 V within 1 ms from 0.05 ohm needs 10 V/ms; the supply follows 1 V/ms. It "
     "takes a quick low-resistance source"},
    {"pulse_3a", "pulse 3a (ISO 7637-2): down to -220 V within 5 ns. It takes a burst generator"},
    {"pulse_3b", "pulse 3b (ISO 7637-2): up to +150 V within 5 ns. It takes a burst generator"},
};

}  // namespace

Volts level_at(const Corners& corners, Nanoseconds when) {
  const auto after = std::upper_bound(corners.begin(), corners.end(), when,
                                      [](Nanoseconds t, const SupplyCorner& corner) { return t < corner.at; });
  if (after == corners.begin()) return corners.front().to;
  if (after == corners.end()) return corners.back().to;
  const auto& from = *(after - 1);
  const double share =
      static_cast<double>((when - from.at).count()) / static_cast<double>((after->at - from.at).count());
  return from.to + (after->to - from.to) * share;
}

Volts SupplyCourse::at(Nanoseconds when) const { return level_at(corners, when); }

std::variant<SupplyCourse, std::string> supply_course(const SupplyShape& shape, const SupplyLimits& limits) {
  auto course = std::visit([&](const auto& one) { return write(one, limits); }, shape);
  if (auto why = trouble(shape, course, limits)) return *why;
  return course;
}

std::optional<std::string> refused_pulse(std::string_view name) {
  for (const auto& refusal : kRefused)
    if (refusal.name == name) return std::string{refusal.why};
  return std::nullopt;
}

}  // namespace rig
