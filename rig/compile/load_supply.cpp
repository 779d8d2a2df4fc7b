#include <algorithm>
#include <array>

#include "rig/compile/load_parts.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

enum class CourseKind {
  momentary_drop,
  reset_staircase,
  starting_profile,
  slow_ramps,
  slow_ripple,
  own,
  reference_levels,
  reference_ramp,
  reference_drop
};

constexpr Allowed<Volts> kBattery{Volts{0}, Volts{36}};
constexpr Allowed<Volts> kRail{Volts{0}, Volts{6}};

MomentaryDrop read_drop(MapReader& map) {
  MomentaryDrop drop;
  map.may("from", drop.from, kBattery);
  map.may("to", drop.to, kBattery);
  map.may("hold", drop.hold, Allowed<Nanoseconds>{1ms, 60s});
  map.may("edge", drop.edge, Allowed<Nanoseconds>{10us, 10ms});
  return drop;
}

ResetStaircase read_stairs(MapReader& map) {
  ResetStaircase stairs;
  map.may("lowest", stairs.lowest, kBattery);
  map.may("step_time", stairs.step, Allowed<Nanoseconds>{10ms, 60s});
  map.may("recovery_time", stairs.recovery, Allowed<Nanoseconds>{10ms, 60s});
  map.may("edge", stairs.edge, Allowed<Nanoseconds>{10us, 1s});
  return stairs;
}

SlowRamps read_ramps(MapReader& map) {
  SlowRamps ramps;
  map.may("from", ramps.from, kBattery);
  Volts a_minute{ramps.volts_per_minute};
  if (map.may("a_minute", a_minute, Allowed<Volts>{Volts{0.1}, Volts{600}})) ramps.volts_per_minute = a_minute.value();
  return ramps;
}

SlowRipple read_ripple(MapReader& map) {
  SlowRipple ripple;
  map.may("around", ripple.around, kBattery);
  map.may("peak_to_peak", ripple.peak_to_peak, Allowed<Volts>{Volts{0.01}, Volts{20}});
  Nanoseconds period{20ms};
  if (map.may("period", period, Allowed<Nanoseconds>{100us, 10s})) ripple.frequency = Hertz{1 / seconds(period)};
  map.may("length", ripple.length, Allowed<Nanoseconds>{10ms, 600s});
  return ripple;
}

/// `[[0 ms, 13.8 V], [10 ms, 6.5 V], ...]`: the first at 0, times rising.
OwnCourse read_own(MapReader& map, const Product* product) {
  OwnCourse own;
  const Node* list = map.need("corners", "[[0 ms, 13.8 V], [10 ms, 6.5 V], [200 ms, 6.5 V], [210 ms, 13.8 V]]");
  if (!list) return own;
  PlacedComplaints& complaints = map.complaints();
  for (const Node& item : yaml::items(*list, 2, 1000, "`corners`", complaints)) {
    SupplyCorner corner{};
    const auto& pair = yaml::items(item, 2, 2, "a corner", complaints);
    if (pair.size() != 2 ||
        !read_both(pair, corner.at, Allowed<Nanoseconds>{0ns, 3600s}, corner.to, kBattery, complaints))
      continue;
    if (own.corners.empty() ? corner.at != 0ns : corner.at <= own.corners.back().at)
      complaints.add(pair[0].place, own.corners.empty() ? "a course begins at 0 ms" : "a course's times must rise",
                     "Write every corner as [time since the course began, voltage then]");
    if (product && corner.to > product->battery.highest)
      complaints.add(pair[1].place,
                     fmt::format("{} is above the {} that the product's battery may have", to_text(corner.to),
                                 to_text(product->battery.highest)),
                     "Stay within the product's range");
    own.corners.push_back(corner);
  }
  return own;
}

void check_on_rails(Volts level, yaml::Place place, const Product* product, PlacedComplaints& complaints) {
  if (!product) return;
  for (const Rail& rail : product->rails) {
    if (rail.lowest <= level && level <= rail.highest) continue;
    complaints.add(place, fmt::format("{} lies outside the range of {}", to_text(level), rail.name),
                   fmt::format("{} to {} can be visited; what lies below is for `reference_drop`", to_text(rail.lowest),
                               to_text(rail.highest)));
    return;
  }
}

ReferenceLevels read_levels(MapReader& map, const Product* product) {
  ReferenceLevels levels;
  if (const Node* list = map.find("levels");
      list && read_list(*list, levels.levels, kRail, 32, "`levels`", map.complaints()))
    for (std::size_t i = 0; i < levels.levels.size(); ++i) {
      check_on_rails(levels.levels[i], list->items[i].place, product, map.complaints());
      if (std::count(levels.levels.begin(), levels.levels.end(), levels.levels[i]) > 1 && i > 0)
        map.complaints().add(list->items[i].place, "this level is there twice", "Keep one");
    }
  map.may("hold", levels.hold, Allowed<Nanoseconds>{100ms, 1500ms});
  return levels;
}

ReferenceRamp read_reference_ramp(MapReader& map, const Product* product) {
  ReferenceRamp ramp;
  if (const Node* range = map.find("range");
      range && read_range(*range, ramp.lowest, ramp.highest, kRail, "the range", map.complaints()))
    for (const Volts level : {ramp.lowest, ramp.highest})
      check_on_rails(level, range->place, product, map.complaints());
  map.may("over", ramp.over, Allowed<Nanoseconds>{100ms, 600s});
  return ramp;
}

ReferenceDrop read_reference_drop(MapReader& map) {
  ReferenceDrop drop;
  map.may("to", drop.to, kRail);
  map.may("hold", drop.hold, Allowed<Nanoseconds>{1ms, 60s});
  map.may("edge", drop.edge, Allowed<Nanoseconds>{1ms, 1s});
  return drop;
}

StartingProfile read_starting(MapReader& map, std::string& name) {
  StartingProfile profile;
  int level = 1;
  map.may("level", level, Allowed<int>{1, 4});
  constexpr std::array kLevels{StartingLevel::one, StartingLevel::two, StartingLevel::three, StartingLevel::four};
  profile.level = kLevels[static_cast<std::size_t>(level - 1)];
  name += fmt::format("_{}", level);
  return profile;
}

SupplyCourseShape read_shape(CourseKind kind, MapReader& map, std::string& name, const Product* product) {
  switch (kind) {
    case CourseKind::momentary_drop:
      return SupplyShape{read_drop(map)};
    case CourseKind::reset_staircase:
      return SupplyShape{read_stairs(map)};
    case CourseKind::starting_profile:
      return SupplyShape{read_starting(map, name)};
    case CourseKind::slow_ramps:
      return SupplyShape{read_ramps(map)};
    case CourseKind::slow_ripple:
      return SupplyShape{read_ripple(map)};
    case CourseKind::own:
      return read_own(map, product);
    case CourseKind::reference_levels:
      return read_levels(map, product);
    case CourseKind::reference_ramp:
      return read_reference_ramp(map, product);
    case CourseKind::reference_drop:
      return read_reference_drop(map);
  }
  return OwnCourse{};
}

/// A pulse that takes a special generator is refused with its clause, not as an unknown word.
bool refuse_pulse(MapReader& map, const Node& node) {
  const Node* course = map.find("course");
  if (!course) return false;
  const auto why = refused_pulse(course->text);
  if (!why) return false;
  for (const yaml::Entry& entry : node.entries) map.find(entry.key);
  map.refuse("course", *why, "Take it out: this bench cannot make it");
  return true;
}

void read_course(const Node& node, std::size_t number, SupplySpec& spec, const Product* product,
                 PlacedComplaints& complaints) {
  MapReader map{node, complaints, fmt::format("course {}", number + 1)};
  if (node.kind == Node::Kind::map && refuse_pulse(map, node)) return;
  CourseKind kind{};
  if (!map.need_choice("course", kind,
                       {{"momentary_drop", CourseKind::momentary_drop},
                        {"reset_staircase", CourseKind::reset_staircase},
                        {"starting_profile", CourseKind::starting_profile},
                        {"slow_ramps", CourseKind::slow_ramps},
                        {"slow_ripple", CourseKind::slow_ripple},
                        {"own", CourseKind::own},
                        {"reference_levels", CourseKind::reference_levels},
                        {"reference_ramp", CourseKind::reference_ramp},
                        {"reference_drop", CourseKind::reference_drop}},
                       "momentary_drop")) {
    if (node.kind == Node::Kind::map)
      for (const yaml::Entry& entry : node.entries) map.find(entry.key);
    return;
  }
  std::string name = map.find("course")->text;
  SupplyCourseShape shape = read_shape(kind, map, name, product);
  if (const Node* given = map.find("name")) yaml::read_name(*given, name, complaints);
  if (kind == CourseKind::own && name == "own")
    complaints.add(node.place, "a course of its own needs a name of its own: findings are found by it",
                   "Write `name: dip`");
  for (const SupplyCourseSpec& before : spec.courses)
    if (before.name == name)
      complaints.add(node.place, fmt::format("a course '{}' is there already", name), "Give this one another `name`");
  spec.courses.push_back({std::move(name), std::move(shape)});
}

/// A unit at the edge of its band must still be under the hard ceiling.
void check_ceiling(const SupplySpec& spec, yaml::Place place, const Product* product, PlacedComplaints& complaints) {
  if (!product) return;
  for (const PressureChannel& channel : product->pressures) {
    const Kilopascals hides{hidden(*product, channel, spec.speed, spec.pressure)};
    const Kilopascals band{std::max(spec.band.absolute, spec.band.relative * channel.highest_reported.value())};
    if (hides + band <= channel.ceiling.most_hidden) continue;
    complaints.add(place,
                   fmt::format("this band lets {} hide {} and {} more; its hard ceiling is {}", channel.name,
                               to_text(hides), to_text(band), to_text(channel.ceiling.most_hidden)),
                   "Narrow the band: no scenario can override the ceiling");
    return;
  }
}

}  // namespace

StepSpec read_supply(MapReader& step, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  SupplySpec spec;
  if (const Node* at = step.find("at")) {
    const std::size_t before = complaints.count();
    MapReader map{*at, complaints, "`at`"};
    map.need("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)}, "3500 rpm");
    map.need("pressure", spec.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "200 kPa");
    if (product && complaints.count() == before) {
      check_pressures({spec.pressure}, *map.find("pressure"), product, complaints);
      check_shifted(spec.speed, spec.pressure, at->place, "a reset", *product, complaints);
    }
  }
  if (const Node* list = step.find("courses")) {
    std::size_t number = 0;
    for (const Node& item : yaml::items(*list, 1, 64, "`courses`", complaints))
      read_course(item, number++, spec, product, complaints);
  } else {
    spec.courses = usual_supply_courses();
  }
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    if (const Node* band = map.find("band"); band && read_tolerance(*band, spec.band, Kilopascals{100}, complaints))
      check_ceiling(spec, band->place, product, complaints);
    map.may("passive_band", spec.passive_band, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
    map.may("falls_back", spec.falls_back, Allowed<Nanoseconds>{1ms, 1s});
    map.may("recovery", spec.recovery, Allowed<Nanoseconds>{10ms, 10s});
    map.may("longest_spike", spec.longest_spike, Allowed<Nanoseconds>{1ms, 100ms});
  }
  return spec;
}

}  // namespace rig
