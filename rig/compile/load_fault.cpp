#include <algorithm>

#include "rig/compile/fault_matrix.hpp"
#include "rig/compile/fault_reader.hpp"
#include "rig/compile/load_reactions.hpp"
#include "rig/core/quantity_text.hpp"

/// The fault step: a few lines name wires, faults and points; what is made of them is one case for each combination.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

constexpr std::size_t kMostGroups = 64, kMostPoints = 32, kMostCases = 5000;
constexpr Allowed<Nanoseconds> kTimes{1ms, 30s};

}  // namespace

FaultSpec FaultReader::read() {
  if (const Node* points = step_.need("points", "[{speed: 3500 rpm, pressure: 200 kPa}]"))
    points_ = read_points(*points);
  step_.may("temperature", spec_.temperature, Allowed<Celsius>{Celsius{-60}, Celsius{300}});
  step_.may("power_cycle_after", spec_.power_cycle_after, Allowed<int>{1, 1000});
  read_expect();
  const Node* faults = step_.need("faults", "[{fault: open, wires: [manifold_pressure]}]");
  if (!faults) return spec_;
  std::size_t number = 0;
  for (const Node& item : yaml::items(*faults, 1, kMostGroups, "`faults`", complaints_)) read_group(item, number++);
  if (spec_.cases.size() > kMostCases)
    complaints_.add(faults->place, fmt::format("these are {} faults, more than {}", spec_.cases.size(), kMostCases),
                    "Divide them among several scenarios");
  if (const Node* expect = step_.find("expect"))
    for (const auto& entry : expect->entries)
      if (entry.key == "table") check_ceiling(entry.value.place);
  return spec_;
}

bool FaultReader::read_point(const Node& node, FaultPoint& into, std::string_view subject) {
  const std::size_t before = complaints_.count();
  MapReader map{node, complaints_, std::string{subject}};
  map.need("speed", into.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product_)}, "3500 rpm");
  map.need("pressure", into.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "200 kPa");
  if (complaints_.count() != before) return false;
  if (!product_) return true;
  check_pressures({into.pressure}, *map.find("pressure"), product_, complaints_);
  check_shifted(into.speed, into.pressure, node.place, "its falling back", *product_, complaints_);
  return complaints_.count() == before;
}

std::vector<FaultPoint> FaultReader::read_points(const Node& list) {
  std::vector<FaultPoint> points;
  for (const Node& item : yaml::items(list, 1, kMostPoints, "`points`", complaints_)) {
    FaultPoint point;
    if (read_point(item, point, "the point")) points.push_back(point);
  }
  return points;
}

void FaultReader::read_expect() {
  const Node* expect = step_.find("expect");
  if (!expect) return;
  MapReader map{*expect, complaints_, "`expect`"};
  if (const Node* node = map.find("pass_through")) read_tolerance(*node, spec_.through, Volts{0.1}, complaints_);
  if (const Node* node = map.find("table")) read_tolerance(*node, spec_.band, Kilopascals{20}, complaints_);
}

/// A unit at the edge of its band must still be under the hard ceiling, wherever one of the cases takes it.
void FaultReader::check_ceiling(yaml::Place place) {
  std::vector<FaultPoint> points = product_ ? points_ : std::vector<FaultPoint>{};
  for (const auto& one : spec_.cases) {
    points.push_back(one.at);
    if (one.during) points.push_back(one.during->to);
    if (one.moves_to) points.push_back(*one.moves_to);
  }
  for (const auto& point : points) {
    for (const auto& channel : product_->pressures) {
      const Kilopascals hides{hidden(*product_, channel, point.speed, point.pressure)};
      const Kilopascals band{std::max(spec_.band.absolute, spec_.band.relative * channel.highest_reported.value())};
      if (hides + band <= channel.ceiling.most_hidden) continue;
      complaints_.add(place,
                      fmt::format("this band lets {} hide {} and {} more; its hard ceiling is {}", channel.name,
                                  to_text(hides), to_text(band), to_text(channel.ceiling.most_hidden)),
                      "Narrow the band: no scenario can override the ceiling");
      return;
    }
  }
}

void FaultReader::read_group(const Node& node, std::size_t number) {
  const std::size_t before = complaints_.count();
  FaultGroup group;
  group.place = node.place;
  MapReader map{node, complaints_, fmt::format("fault {}", number + 1)};
  read_kinds(map, group);
  read_wires(map, group);
  read_choices(map, group);
  group.points = points_;
  if (const Node* points = map.find("points")) group.points = read_points(*points);
  group.expect = map.find("expect");
  if (group.expect) {  // once for what may be wrong with it; then for each case, on top of that case's own rule
    ReactionRule any;
    MapReader inner{*group.expect, complaints_, "`expect`"};
    read_reaction(inner, any);
  }
  if (complaints_.count() == before && product_) write_cases(group);
}

namespace {

/// A fault of the speed signal or of the whole module needs no wire named.
bool of_no_wire(FaultKind kind) { return kind == FaultKind::hang || kind == FaultKind::disagree; }
bool of_the_speed(FaultKind kind) {
  return kind == FaultKind::lost_edges || kind == FaultKind::doubled_edges || kind == FaultKind::over_speed;
}

}  // namespace

void FaultReader::read_kinds(MapReader& map, FaultGroup& group) {
  const Node* fault = map.need("fault", "open");
  if (!fault) return;
  const std::vector<Node> one{*fault};
  for (const Node& item : fault->kind == Node::Kind::list ? yaml::items(*fault, 1, 15, "`fault`", complaints_) : one)
    if (const auto kind = read_fault_kind(item, complaints_)) group.kinds.push_back(*kind);
  for (const auto kind : group.kinds)
    if (group.kinds.size() > 1 && (of_no_wire(kind) || of_the_speed(kind) || kind == FaultKind::joined))
      complaints_.add(fault->place, fmt::format("'{}' is not done to a list of wires as the others are", to_text(kind)),
                      "Give it a line of its own");
}

/// A wire by what it carries, or by the pin's name in the drawing.
std::optional<FaultPin> FaultReader::find_pin(const Node& node, std::optional<ConnectorSide> side) {
  if (!product_ || node.kind != Node::Kind::scalar) {
    if (node.kind != Node::Kind::scalar && node.kind != Node::Kind::refused)
      complaints_.add(node.place, fmt::format("a wire cannot be {}", yaml::describe(node)),
                      "Name what it carries, or its pin");
    return std::nullopt;
  }
  std::vector<std::string> known;
  const auto pins = pins_of(*product_);
  for (const auto& pin : pins)
    if (pin.name == node.text) return pin;
  for (const auto& pin : pins) {
    known.push_back(pin.carries);
    if (!pin.name.empty()) known.push_back(pin.name);
    if (pin.carries == node.text && (!side || pin.side == *side)) return pin;
  }
  const bool elsewhere = side && std::any_of(pins.begin(), pins.end(), [&](auto& p) { return p.carries == node.text; });
  std::sort(known.begin(), known.end());
  known.erase(std::unique(known.begin(), known.end()), known.end());
  if (elsewhere)
    complaints_.add(node.place, fmt::format("no pin on this side carries '{}'", node.text), "Choose the other `side`");
  else
    complaints_.add(node.place, fmt::format("'{}': the product has no such wire or pin", node.text),
                    yaml::suggest(node.text, known));
  return std::nullopt;
}

void FaultReader::read_wires(MapReader& map, FaultGroup& group) {
  std::optional<ConnectorSide> side;
  bool both = false;
  int chosen = 0;
  if (map.may_choice("side", chosen, {{"sensor", 1}, {"controller", 2}, {"both", 3}})) {
    both = chosen == 3;
    if (!both) side = chosen == 1 ? ConnectorSide::sensor : ConnectorSide::controller;
  }
  if (group.kinds.empty()) {
    for (const auto* key : {"wires", "pins"}) map.find(key);
    return;
  }
  const auto kind = group.kinds.front();
  if (kind == FaultKind::joined) return read_pairs(map, group);
  if (of_no_wire(kind)) return group.wires.push_back({FaultPin{}, {}});
  if (of_the_speed(kind)) return group.wires.push_back({FaultPin{"speed", ConnectorSide::sensor, {}}, {}});
  const Node* wires = map.need("wires", "[manifold_pressure], or `all`");
  if (!wires) return;
  if (wires->kind == Node::Kind::scalar && wires->text == "all") {
    group.whole = true;
    if (!product_) return;
    std::set<std::pair<std::string, ConnectorSide>> seen;
    for (const auto& pin : pins_of(*product_))
      if ((!side || pin.side == *side) && seen.insert({pin.carries, pin.side}).second) group.wires.push_back({pin, {}});
    return;
  }
  for (const Node& item : yaml::items(*wires, 1, 64, "`wires`", complaints_)) {
    for (const auto at :
         both ? std::vector<std::optional<ConnectorSide>>{ConnectorSide::sensor, ConnectorSide::controller}
              : std::vector{side})
      if (auto pin = find_pin(item, at)) group.wires.push_back({*pin, {}});
  }
}

/// Pins that touch: `neighbours`, or pairs by name ("S2+S6").
void FaultReader::read_pairs(MapReader& map, FaultGroup& group) {
  const Node* pins = map.need("pins", "neighbours, or [S2+S6]");
  if (!pins || !product_) return;
  if (pins->kind == Node::Kind::scalar && pins->text == "neighbours") {
    group.whole = true;
    int side = 3;
    if (const Node* node = map.find("side"))
      yaml::read_choice(*node, side, {{"sensor", 1}, {"controller", 2}, {"both", 3}}, "side", complaints_);
    for (const auto& [bit, at] : {std::pair{1, ConnectorSide::sensor}, {2, ConnectorSide::controller}})
      if (side & bit)
        for (auto& [one, other] : neighbours_of(*product_, at)) group.wires.push_back({one, other});
    return;
  }
  for (const Node& item : yaml::items(*pins, 1, 64, "`pins`", complaints_)) {
    const auto plus = item.text.find('+');
    if (item.kind != Node::Kind::scalar || plus == std::string::npos) {
      complaints_.add(item.place, fmt::format("two pins cannot be {}", yaml::describe(item)), "Write them as S2+S6");
      continue;
    }
    Node first = item, second = item;
    first.text = item.text.substr(0, plus), second.text = item.text.substr(plus + 1);
    auto one = find_pin(first, {}), other = find_pin(second, {});
    if (one && other) group.wires.push_back({*one, *other});
  }
}

template <class T>
void read_words(MapReader& map, std::string_view key, std::vector<T>& into,
                std::initializer_list<yaml::Choice<T>> all) {
  const Node* list = map.find(key);
  if (!list) return;
  std::vector<T> words;
  for (const Node& item : yaml::items(*list, 1, all.size(), fmt::format("`{}`", key), map.complaints())) {
    T word{};
    if (yaml::read_choice(item, word, all, key, map.complaints())) words.push_back(word);
  }
  into = std::move(words);
}

void FaultReader::read_choices(MapReader& map, FaultGroup& group) {
  const auto is = [&](FaultKind kind) {
    return std::find(group.kinds.begin(), group.kinds.end(), kind) != group.kinds.end();
  };
  if (is(FaultKind::open)) {
    group.every_end = !map.find("end");
    read_words<OpenEnd>(map, "end", group.ends,
                        {{"up", OpenEnd::up}, {"down", OpenEnd::down}, {"disconnected", OpenEnd::disconnected}});
  }
  if (is(FaultKind::out_of_range))
    read_words<BeyondRail>(map, "beyond", group.beyond, {{"low", BeyondRail::low}, {"high", BeyondRail::high}});
  if (is(FaultKind::intermittent)) {
    map.may("bursts", group.bursts, Allowed<int>{1, 100});
    map.may("open_for", group.open_for, Allowed<Nanoseconds>{1ms, 5s});
    map.may("made_for", group.made_for, Allowed<Nanoseconds>{1ms, 5s});
  } else if (is(FaultKind::hang)) {
    if (map.find("lasts"))
      map.refuse("lasts", "a program that stands still is woken by its own watchdog: the fault ends by itself",
                 "Take `lasts` out");
  } else {
    map.may("lasts", group.lasts, kTimes);
  }
  if (is(FaultKind::jump) || is(FaultKind::disagree))
    map.may("by", group.by, Allowed<Kilopascals>{Kilopascals{1}, Kilopascals{200}});
  if (is(FaultKind::frozen)) {
    FaultPoint to;
    if (const Node* node = map.need("moves_to", "{speed: 4500 rpm, pressure: 150 kPa}"))
      if (read_point(*node, to, "`moves_to`")) group.moves_to = to;
    return;
  }
  const Node* during = map.find("during");
  if (!during) return;
  FaultTransient transient;
  MapReader inner{*during, complaints_, "`during`"};
  const Node* to = inner.need("to", "{speed: 4500 rpm, pressure: 150 kPa}");
  inner.may("over", transient.over, kTimes);
  if (to && read_point(*to, transient.to, "`to`")) group.during = transient;
}

StepSpec read_fault(MapReader& step, const Product* product) { return FaultReader{step, product}.read(); }

}  // namespace rig
