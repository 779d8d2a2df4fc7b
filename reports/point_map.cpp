#include "reports/point_map.hpp"

#include <algorithm>
#include <cmath>

#include "reports/figures.hpp"
#include "rig/core/characteristic.hpp"

namespace rig {

namespace {

int rank(Verdict verdict) {
  switch (verdict) {
    case Verdict::pass:
      return 0;
    case Verdict::undecided:
      return 1;
    case Verdict::void_:
      return 2;
    case Verdict::fail:
      break;
  }
  return 3;
}

template <class T>
void insert_sorted(std::vector<T>& axis, const T& value) {
  const auto at = std::lower_bound(axis.begin(), axis.end(), value);
  if (at == axis.end() || *at != value) axis.insert(at, value);
}

bool is_grid(const PointMap& map) { return map.speeds.size() >= 2 && map.pressures.size() >= 2; }

}  // namespace

std::optional<MapPlace> map_place(std::string_view id) {
  auto what = characteristic_from_text(id);
  if (!what || !what->speed || !what->pressure) return {};
  MapPlace place{std::move(what->subject), what->speed->value(), what->pressure->value(), {}, what->down};
  if (what->temperature) place.degrees = what->temperature->value();
  return place;
}

const Finding& worse(const Finding& a, const Finding& b) {
  if (rank(a.verdict) != rank(b.verdict)) return rank(a.verdict) > rank(b.verdict) ? a : b;
  return b.margin && (!a.margin || *b.margin < *a.margin) ? b : a;
}

std::vector<PointMap> point_maps(const std::vector<Finding>& findings) {
  std::vector<PointMap> maps;
  for (const auto& finding : findings) {
    auto place = map_place(finding.id);
    if (!place) continue;
    auto map = std::find_if(maps.begin(), maps.end(),
                            [&](const auto& m) { return m.step == finding.step && m.channel == place->channel; });
    if (map == maps.end()) map = maps.insert(map, PointMap{finding.step, place->channel, finding.in, {}, {}, {}, {}});
    insert_sorted(map->speeds, place->rpm);
    insert_sorted(map->pressures, place->kpa);
    insert_sorted(map->temperatures, place->degrees);
    map->points.push_back({std::move(*place), &finding});
  }
  std::erase_if(maps, [](const auto& map) { return !is_grid(map); });
  return maps;
}

bool shown_in(const std::vector<PointMap>& maps, const Finding& finding) {
  const auto place = map_place(finding.id);
  return place && std::any_of(maps.begin(), maps.end(),
                              [&](const auto& m) { return m.step == finding.step && m.channel == place->channel; });
}

std::string spoken(std::string_view name) {
  std::string text{name};
  std::replace(text.begin(), text.end(), '_', ' ');
  return text;
}

std::string spoken_subject(std::string_view step, std::string_view subject) {
  std::string text = spoken(step) + ": ";
  for (const char c : spoken(subject)) text += c == '/' ? std::string{", "} : std::string{c};
  return text;
}

std::string spoken_conditions(const Finding& finding) {
  const auto what = characteristic_from_text(finding.id);
  if (!what) return "";
  std::string text;
  const auto add = [&](const std::string& condition) { text += (text.empty() ? "" : ", ") + condition; };
  const auto number = [](double value) { return figure(value, value == std::floor(value) ? 0 : 1); };
  if (what->speed) add(number(what->speed->value()) + " rpm");
  if (what->pressure) add(number(what->pressure->value()) + " kPa");
  if (what->temperature) add(number(what->temperature->value()) + " \u00b0C");
  if (what->down) add("from above");
  return text;
}

std::string spoken_place(const Finding& finding) {
  const auto what = characteristic_from_text(finding.id);
  if (!what) return finding.id;
  const std::string conditions = spoken_conditions(finding);
  return spoken_subject(what->step, what->subject) + (conditions.empty() ? "" : ", at " + conditions);
}

}  // namespace rig
