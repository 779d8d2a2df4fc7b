#include "rig/compile/supply_plan.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kEdge = 20ms;  ///< between a nominal voltage and where a course begins or ends; of rails' levels
constexpr Nanoseconds kRest = 50ms;  ///< before and after that
constexpr Nanoseconds kAfter = 200ms;  ///< that the module must be seen at work once it has to have recovered
constexpr Nanoseconds kPiece = 2s;     ///< a segment is no longer, so that progress and commits flow
constexpr double kFast = 20;           ///< V/s; no segment ends while a rail moves faster, nor soon after
constexpr Nanoseconds kSettled = 40ms;
constexpr double kFollowed = 1.5;  ///< V; how far a supply may lie behind its course (its settling times the slope)

Nanoseconds whole_milliseconds(Nanoseconds d) { return (d + 1ms - 1ns) / 1ms * 1ms; }

double steepest(const Corners& corners) {
  double most = 0;
  for (std::size_t i = 1; i < corners.size(); ++i)
    most = std::max(most, std::abs((corners[i].to - corners[i - 1].to).value()) /
                              std::max(seconds(corners[i].at - corners[i - 1].at), 1e-9));
  return most;
}

void go(Corners& corners, Volts to, Nanoseconds over) { corners.push_back({corners.back().at + over, to}); }
void stay(Corners& corners, Nanoseconds length) { go(corners, corners.back().to, length); }

/// As near to a limit of a range as the bench may go without overstepping it by its own error.
Volts within(Volts level, const Rail& rail, const Port& source) {
  const Volts error{limit_of_error(source, level.value()) + source.resolution};
  return std::clamp(level, rail.lowest + 2 * error, rail.highest - 2 * error);
}

class CourseMaker {
 public:
  CourseMaker(const SupplySpec& spec, const Product& product, const BenchSetup& bench)
      : spec_{spec}, product_{product}, bench_{bench}, supply_{bench.ports[index(bench.wiring.battery)]} {}

  void make(const SupplyCourseSpec& asked) {
    std::visit([&](const auto& shape) { this->write(asked.name, shape); }, asked.shape);
  }
  std::vector<PlayedCourse> courses;
  std::vector<std::string> troubles;

 private:
  void write(const std::string& name, const SupplyShape& shape) {
    auto made = supply_course(shape, battery_limits(supply_));
    if (auto* why = std::get_if<std::string>(&made)) return refuse(name, *why);
    const auto& course = std::get<SupplyCourse>(made);
    std::string told = course.modelled_on.empty() ? "modelled on no clause" : "modelled on " + course.modelled_on;
    told += " (" + course.source + ")";
    for (const auto& deviation : course.deviations) told += ". Deviation: " + deviation;
    of_battery(name, course.name, told, course.corners);
  }
  void write(const std::string& name, const OwnCourse& own) {
    of_battery(name, name, "drawn by the scenario, modelled on no clause", own.corners);
  }
  void write(const std::string& name, const ReferenceLevels& asked) {
    for (std::size_t r = 0; r < product_.rails.size(); ++r) {
      const auto& port = rail_port(r);
      std::vector<std::pair<Nanoseconds, Volts>> ends;
      Corners corners{{0ns, product_.rails[r].nominal}};
      stay(corners, kRest);
      for (const auto level : asked.levels) {
        go(corners, within(level, product_.rails[r], port), kEdge);
        stay(corners, asked.hold);
        ends.emplace_back(corners.back().at, level);
      }
      of_rail(name, "5 V levels", r, corners, ends);
    }
  }
  void write(const std::string& name, const ReferenceRamp& asked) {
    for (std::size_t r = 0; r < product_.rails.size(); ++r) {
      const auto& rail = product_.rails[r];
      Corners corners{{0ns, rail.nominal}};
      stay(corners, kRest);
      go(corners, within(asked.lowest, rail, rail_port(r)), asked.over);
      go(corners, within(asked.highest, rail, rail_port(r)), asked.over);
      go(corners, rail.nominal, asked.over);
      of_rail(name, "5 V ramp", r, corners, {});
    }
  }
  void write(const std::string& name, const ReferenceDrop& asked) {
    for (std::size_t r = 0; r < product_.rails.size(); ++r) {
      Corners corners{{0ns, product_.rails[r].nominal}};
      stay(corners, kRest);
      go(corners, asked.to, asked.edge);
      stay(corners, asked.hold);
      go(corners, product_.rails[r].nominal, asked.edge);
      of_rail(name, "5 V drop", r, corners, {});
    }
  }

  const Port& rail_port(std::size_t r) const {
    return bench_.ports[index(bench_.wiring.rail(product_.rails[r].name)->source)];
  }
  void refuse(const std::string& name, const std::string& why) {
    troubles.push_back(fmt::format("course '{}': {}", name, why));
  }

  /// Whether a supply can follow these corners.
  bool follows(const std::string& name, const Port& port, const Corners& corners, Volts highest) {
    const auto before = troubles.size();
    for (const auto& corner : corners)
      if (corner.to > highest) {
        refuse(name,
               fmt::format("it reaches {}, allowed on '{}' is {}", to_text(corner.to), port.name, to_text(highest)));
        break;
      }
    const double slope = steepest(corners);
    const double most = port.slew_per_second > 0 ? port.slew_per_second : battery_limits(port).volts_per_second;
    if (slope > most * (1 + 1e-9))
      refuse(name, fmt::format("it asks for {:.3g} V/s, '{}' follows {:.3g} V/s", slope, port.name, most));
    if (slope * seconds(port.settling) > kFollowed)
      refuse(name, fmt::format("'{}' settles in {}: it would lie {:.1f} V behind", port.name, to_text(port.settling),
                               slope * seconds(port.settling)));
    return troubles.size() == before;
  }

  void of_battery(const std::string& name, const std::string& title, const std::string& told, const Corners& shape) {
    PlayedCourse course{name, title, told, {}, {}, {}, {}};
    const Volts nominal = product_.battery.nominal;
    auto& corners = course.battery;
    corners.push_back({0ns, nominal});
    stay(corners, kRest);
    if (shape.front().to != nominal) go(corners, shape.front().to, kEdge), stay(corners, kRest);
    const auto start = corners.back().at - shape.front().at;
    for (std::size_t i = 1; i < shape.size(); ++i) corners.push_back({start + shape[i].at, shape[i].to});
    if (shape.back().to != nominal) go(corners, nominal, kEdge);
    for (const auto& rail : product_.rails) course.rails.push_back({{0ns, rail.nominal}});
    if (follows(name, supply_, corners, std::min(product_.battery.highest, Volts{supply_.high})))
      finish(std::move(course), {});
  }
  void of_rail(const std::string& name, const std::string& title, std::size_t r, const Corners& shape,
               const std::vector<std::pair<Nanoseconds, Volts>>& levels) {
    const auto& rail = product_.rails[r];
    PlayedCourse course{name + "/" + rail.name, title + " on " + rail.name, "modelled on no clause", {}, {}, r, {}};
    course.battery.push_back({0ns, product_.battery.nominal});
    for (const auto& other : product_.rails) course.rails.push_back({{0ns, other.nominal}});
    course.rails[r] = shape;
    if (shape.back().to != rail.nominal) go(course.rails[r], rail.nominal, kEdge);
    if (follows(course.name, rail_port(r), course.rails[r], std::min(rail.highest, Volts{rail_port(r).high})))
      finish(std::move(course), levels);
  }

  /// Long enough that the module is seen at work again after all; every supply's corners end together.
  void finish(PlayedCourse course, const std::vector<std::pair<Nanoseconds, Volts>>& levels) {
    Nanoseconds end = course.battery.back().at;
    for (const auto& corners : course.rails) end = std::max(end, corners.back().at);
    std::optional<Nanoseconds> last_low;
    for (auto t = 0ns; t <= end; t += 1ms)
      if (low(course, t)) last_low = t;
    end += kRest;
    if (last_low) end = std::max(end, *last_low + spec_.recovery + kAfter);
    end = whole_milliseconds(end);
    course.battery.push_back({end, course.battery.back().to});
    for (auto& corners : course.rails) corners.push_back({end, corners.back().to});
    course.goes_low = last_low.has_value();
    cut(course, levels);
    courses.push_back(std::move(course));
  }

  bool low(const PlayedCourse& course, Nanoseconds at) const {
    if (level_at(course.battery, at) < product_.battery.lowest) return true;
    for (std::size_t r = 0; r < course.rails.size(); ++r)
      if (level_at(course.rails[r], at) < product_.rails[r].lowest) return true;
    return false;
  }
  bool missing(const PlayedCourse& course, Nanoseconds at) const {
    if (level_at(course.battery, at) < kMissingBelow * product_.battery.lowest) return true;
    for (std::size_t r = 0; r < course.rails.size(); ++r)
      if (level_at(course.rails[r], at) < kMissingBelow * product_.rails[r].lowest) return true;
    return false;
  }

  void cut(PlayedCourse& course, const std::vector<std::pair<Nanoseconds, Volts>>& levels) const {
    const auto end = course.duration();
    std::optional<Nanoseconds> last_low;
    Nanoseconds missing_for{0}, longest_missing{0};
    for (auto from = 0ns; from < end;) {
      SupplyPiece piece{from, 0ns, {}, missing_for, {}};
      if (last_low) piece.since_low = from - *last_low;
      auto to = end - from <= kPiece ? end : quiet(course, from);
      for (const auto& [at, level] : levels)
        if (at > from && at <= to) {
          to = at, piece.level = level;
          break;
        }
      piece.length = to - from;
      course.pieces.push_back(piece);
      for (; from < to; from += 1ms) {
        if (low(course, from)) last_low = from;
        missing_for = missing(course, from) ? missing_for + 1ms : 0ms;
        longest_missing = std::max(longest_missing, missing_for);
      }
    }
    course.goes_missing = longest_missing > spec_.falls_back + 10ms;
  }

  /// Where a segment may end: after kPiece, or before that, where no rail has moved fast for a while.
  static Nanoseconds quiet(const PlayedCourse& course, Nanoseconds from) {
    const auto moves = [&](Nanoseconds at) {
      return std::any_of(course.rails.begin(), course.rails.end(), [&](const Corners& corners) {
        for (auto t = at > kSettled ? at - kSettled : 0ns; t < at + 5ms; t += 5ms)
          if (std::abs((level_at(corners, t + 5ms) - level_at(corners, t)).value()) > kFast * 0.005) return true;
        return false;
      });
    };
    for (auto at = from + kPiece; at > from + kPiece / 4; at -= 10ms)
      if (!moves(at)) return at;
    return from + kPiece;
  }

  const SupplySpec& spec_;
  const Product& product_;
  const BenchSetup& bench_;
  const Port& supply_;
};

}  // namespace

std::vector<SupplyCourseSpec> usual_supply_courses() {
  return {
      {"momentary_drop", SupplyShape{MomentaryDrop{}}},
      {"dip", OwnCourse{{{0ns, Volts{13.8}}, {10ms, Volts{6.5}}, {210ms, Volts{6.5}}, {220ms, Volts{13.8}}}}},
      {"starting_profile_1", SupplyShape{StartingProfile{StartingLevel::one}}},
      {"reference_levels", ReferenceLevels{}},
      {"reference_drop", ReferenceDrop{}},
  };
}

SupplyLimits battery_limits(const Port& supply) {
  return {Volts{supply.high}, supply.slew_per_second > 0 ? supply.slew_per_second : SupplyLimits{}.volts_per_second};
}

std::variant<std::vector<PlayedCourse>, std::vector<std::string>> played_courses(const SupplySpec& spec,
                                                                                 const Product& product,
                                                                                 const BenchSetup& bench) {
  CourseMaker maker{spec, product, bench};
  for (const auto& course : spec.courses) maker.make(course);
  if (!maker.troubles.empty()) return maker.troubles;
  return maker.courses;
}

}  // namespace rig
