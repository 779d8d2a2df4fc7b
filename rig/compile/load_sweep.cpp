#include <algorithm>
#include <cmath>

#include "rig/compile/load_parts.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

constexpr std::size_t kMostValues = 200;
constexpr std::size_t kMostPoints = 20'000;

/// One axis of a sweep: what a file may say of it, and where its values may lie.
template <class Q>
struct AxisRules {
  std::string_view key;         ///< "speeds"
  std::string_view example;     ///< how an explicit list looks
  std::vector<double> table;    ///< breakpoints of the product's tables along this axis; empty: it has none
  Allowed<Q> allowed;           ///< what may be visited at all
  std::string_view allowed_by;  ///< who says so
};

/// The values of an axis: an explicit list, or drawn from the product's tables.
template <class Q>
class AxisReader {
 public:
  AxisReader(const AxisRules<Q>& rules, PlacedComplaints& complaints) : rules_{rules}, complaints_{complaints} {}

  std::vector<Q> read(const Node& node) {
    if (node.kind == Node::Kind::map) {
      read_drawn(node);
    } else {
      for (const Node& item : yaml::items(node, 1, kMostValues, rules_.key, complaints_)) take(item);
    }
    std::sort(values_.begin(), values_.end());
    // Values of two tables that differ by rounding alone are one value.
    const auto same = [](Q a, Q b) { return std::abs(a.value() - b.value()) < 1e-9; };
    values_.erase(std::unique(values_.begin(), values_.end(), same), values_.end());
    return std::move(values_);
  }

 private:
  void read_drawn(const Node& node) {
    const std::size_t before = complaints_.count();
    bool breakpoints = false, midpoints = false;
    MapReader map{node, complaints_, fmt::format("`{}`", rules_.key)};
    map.may("breakpoints", breakpoints);
    map.may("midpoints", midpoints);
    const Node* beyond = map.find("beyond");
    if (complaints_.count() != before) return;
    if (!breakpoints && !midpoints && !beyond) {
      complaints_.add(node.place, fmt::format("`{}` visits nothing", rules_.key),
                      fmt::format("Write `breakpoints: true`, or a list: {}", rules_.example));
    }
    if (rules_.table.empty()) {
      complaints_.add(node.place, fmt::format("the product has no table from which `{}` could be drawn", rules_.key),
                      fmt::format("Write a list: {}", rules_.example));
      return;
    }
    const std::vector<double>& table = rules_.table;
    for (std::size_t i = 0; i < table.size(); ++i) {
      if (breakpoints) take(Q{table[i]}, map.place("breakpoints"), "breakpoint");
      if (midpoints && i > 0) take(Q{(table[i - 1] + table[i]) / 2}, map.place("midpoints"), "midpoint");
    }
    if (!beyond) return;
    for (const Node& item : yaml::items(*beyond, 1, 16, "`beyond`", complaints_)) {
      const auto value = take(item);
      if (value && value->value() >= table.front() && value->value() <= table.back()) {
        complaints_.add(item.place,
                        fmt::format("{} is not beyond the tables' axis, which goes from {} to {}", to_text(*value),
                                    to_text(Q{table.front()}), to_text(Q{table.back()})),
                        "Name a value outside it, or take this one away");
      }
    }
  }
  std::optional<Q> take(const Node& item) {
    Q value{};
    if (!yaml::read(item, value, Allowed<Q>{Q{-100}, Q{100'000}}, complaints_)) return std::nullopt;
    return take(value, item.place, "value") ? std::optional{value} : std::nullopt;
  }
  bool take(Q value, yaml::Place place, std::string_view what) {
    if (value < rules_.allowed.low || rules_.allowed.high < value) {
      complaints_.add(
          place, fmt::format("{} {} lies outside {}", what, to_text(value), rules_.allowed_by),
          fmt::format("{} to {} can be visited", to_text(rules_.allowed.low), to_text(rules_.allowed.high)));
      return false;
    }
    values_.push_back(value);
    return true;
  }

  const AxisRules<Q>& rules_;
  PlacedComplaints& complaints_;
  std::vector<Q> values_;
};

/// The breakpoints of every table that the product subtracts (axis 0: speed, 1: pressure) or derates with (2).
std::vector<double> breakpoints(const Product& product, int axis) {
  std::vector<double> all;
  for (const PressureChannel& pressure : product.pressures) {
    if (!pressure.shift || (axis == 2 && !pressure.shift->derate)) continue;
    const Table& table = product.tables[axis == 2 ? *pressure.shift->derate : pressure.shift->table].table;
    const auto points = table.axis(axis == 1 ? 1 : 0);
    all.insert(all.end(), points.begin(), points.end());
  }
  std::sort(all.begin(), all.end());
  all.erase(std::unique(all.begin(), all.end()), all.end());
  return all;
}

class SweepReader {
 public:
  SweepReader(MapReader& step, const Product* product)
      : step_{step}, complaints_{step.complaints()}, product_{product} {}
  SweepSpec read();

 private:
  void read_axes();
  void read_pressures(const Node& node);
  void read_throttle_drop();
  void read_expect(const Node& node);
  BandRegion read_region(const Node& node, std::size_t number);
  void check_ceiling(const Tolerance& tolerance, const BandRegion& where, yaml::Place place);

  MapReader& step_;
  PlacedComplaints& complaints_;
  const Product* product_;
  SweepSpec spec_;
};

SweepSpec SweepReader::read() {
  read_axes();
  read_throttle_drop();
  if (const Node* share = step_.find("from_above"))
    yaml::read_share(*share, spec_.from_above, {0, 1}, "points", yaml::SayOf::may, complaints_);
  if (const Node* expect = step_.need("expect", "{band: 1.5 kPa, agreement: 1 kPa}")) read_expect(*expect);
  const std::size_t points =
      spec_.speeds.size() * spec_.pressures.size() * std::max<std::size_t>(spec_.temperatures.size(), 1);
  if (points > kMostPoints)
    complaints_.add(step_.place(), fmt::format("this sweep has {} points; {} are allowed", points, kMostPoints),
                    "Leave speeds, pressures or temperatures out");
  return std::move(spec_);
}

void SweepReader::read_axes() {
  AxisRules<Rpm> speeds{"speeds", "[1500 rpm, 3500 rpm]", {}, {Rpm{50}, Rpm{20000}}, "what any product copes with"};
  AxisRules<Celsius> temperatures{
      "temperatures", "[25 degC]", {}, {Celsius{-60}, Celsius{300}}, "what any sensor sees"};
  if (product_) {
    speeds.table = breakpoints(*product_, 0);
    speeds.allowed.high = product_->speed.highest, speeds.allowed_by = "what the product must cope with";
    temperatures.table = breakpoints(*product_, 2);
    if (product_->temperature)
      temperatures.allowed = {product_->temperature->lowest, product_->temperature->highest},
      temperatures.allowed_by = "what the temperature sensor sees";
  }
  const Node* speed_node = step_.need("speeds", "{breakpoints: true, midpoints: true}");
  const Node* pressure_node = step_.need("pressures", "{breakpoints: true, midpoints: true}");
  const Node* temperature_node = step_.find("temperatures");
  if (!temperature_node && product_ && product_->temperature)
    complaints_.add(step_.place(), fmt::format("the product has a temperature, and {} visits none", step_.subject()),
                    "Add `temperatures: [25 degC]`");
  if (temperature_node && product_ && !product_->temperature)
    step_.refuse("temperatures", "the product has no temperature", "Take `temperatures` away");
  // Without its product a sweep's axes cannot be resolved; the product's own complaints say why.
  if (!product_) return;
  if (speed_node) spec_.speeds = AxisReader<Rpm>{speeds, complaints_}.read(*speed_node);
  if (pressure_node) read_pressures(*pressure_node);
  if (temperature_node && product_->temperature)
    spec_.temperatures = AxisReader<Celsius>{temperatures, complaints_}.read(*temperature_node);
}

void SweepReader::read_pressures(const Node& node) {
  const PressureChannel& index = product_->pressures[index_pressure(*product_)];
  const AxisRules<Kilopascals> rules{"pressures",
                                     "[60 kPa, 120 kPa, 180 kPa]",
                                     breakpoints(*product_, 1),
                                     {index.lowest_input, index.highest_input},
                                     "what the sensor of the index pressure sees"};
  spec_.pressures = AxisReader<Kilopascals>{rules, complaints_}.read(node);
}

/// Every drop may meet every pressure of the sweep: the other sensor must be able to see all of them.
void SweepReader::read_throttle_drop() {
  const Node* node = step_.find("throttle_drop");
  if (product_ && product_->pressures.size() < 2) {
    if (node)
      step_.refuse("throttle_drop", "the product has one pressure: there is nothing to drop to",
                   "Take `throttle_drop` away");
    spec_.throttle_drop.clear();
    return;
  }
  if (node)
    read_list(*node, spec_.throttle_drop, {Kilopascals{0}, Kilopascals{150}}, 16, "`throttle_drop`", complaints_);
  if (!product_ || spec_.pressures.empty()) return;
  const std::size_t index = index_pressure(*product_);
  const PressureChannel& other = product_->pressures[1 - index];
  const Kilopascals drop = *std::max_element(spec_.throttle_drop.begin(), spec_.throttle_drop.end());
  const bool other_is_charge = other.name == "charge_pressure";
  const Kilopascals reached = other_is_charge ? spec_.pressures.back() + drop : spec_.pressures.front() - drop;
  if (reached > other.highest_input || reached < other.lowest_input) {
    step_.refuse(
        node ? "throttle_drop" : "pressures",
        fmt::format("with a throttle drop of {} {} would have to see {}; its sensor sees {} to {}", to_text(drop),
                    other.name, to_text(reached), to_text(other.lowest_input), to_text(other.highest_input)),
        "Take a smaller drop, or leave the outermost pressures out");
  }
}

void SweepReader::read_expect(const Node& node) {
  MapReader map{node, complaints_, "`expect`"};
  const auto tolerance = [&](std::string_view key, Tolerance& into, auto most) {
    const Node* value = map.find(key);
    return value && read_tolerance(*value, into, most, complaints_);
  };
  if (const Node* band = map.need("band", "1.5 kPa");
      band && read_tolerance(*band, spec_.band, Kilopascals{100}, complaints_))
    check_ceiling(spec_.band, {}, band->place);
  if (const Node* regions = map.find("regions"))
    for (const Node& item : yaml::items(*regions, 1, 64, "`regions`", complaints_))
      spec_.regions.push_back(read_region(item, spec_.regions.size()));
  tolerance("hysteresis", spec_.hysteresis, Kilopascals{20});
  if (tolerance("agreement", spec_.agreement, Kilopascals{20}) && product_ && product_->pressures.size() < 2)
    map.refuse("agreement", "the product has one pressure: it has nothing to agree with", "Take `agreement` away");
  double response = 0;
  if (map.may("response", response, Allowed<double>{0.001, 0.5})) {
    spec_.response = {response, 0};
    if (product_ && product_->pressures.size() < 2)
      map.refuse("response", "the product has one pressure: it has no 2 x 2 response", "Take `response` away");
  }
  if (tolerance("temperature", spec_.temperature_band, Kelvins{50}) && product_ && !product_->temperature)
    map.refuse("temperature", "the product has no temperature", "Take `temperature` away");
  map.may("input", spec_.input_band, Allowed<Volts>{Volts{0.0001}, Volts{1}});
  map.may("noise", spec_.noise, Allowed<Volts>{Volts{0.0001}, Volts{1}});
}

template <class Q>
void read_span(MapReader& map, std::string_view key, std::optional<Q>& from, std::optional<Q>& to, Allowed<Q> allowed,
               int& stated) {
  Q low{}, high{};
  const Node* node = map.find(key);
  if (!node) return;
  ++stated;
  if (read_range(*node, low, high, allowed, fmt::format("`{}`", key), map.complaints())) from = low, to = high;
}

BandRegion SweepReader::read_region(const Node& node, std::size_t number) {
  BandRegion region;
  int stated = 0;
  const std::size_t before = complaints_.count();
  MapReader map{node, complaints_, fmt::format("region {}", number + 1)};
  read_span(map, "speed", region.speed_from, region.speed_to, {Rpm{0}, Rpm{20000}}, stated);
  read_span(map, "pressure", region.pressure_from, region.pressure_to, {Kilopascals{0}, Kilopascals{1000}}, stated);
  read_span(map, "temperature", region.temperature_from, region.temperature_to, {Celsius{-60}, Celsius{300}}, stated);
  const Node* band = map.need("band", "2 kPa");
  const bool read = band && read_tolerance(*band, region.tolerance, Kilopascals{100}, complaints_);
  if (stated == 0 && complaints_.count() == before)
    complaints_.add(node.place, "this region covers the whole map",
                    "Give it `speed`, `pressure` or `temperature` as [from, to]");
  if (read) check_ceiling(region.tolerance, region, band->place);
  return region;
}

/// The largest value a table can give within a region: at its corners, or at a breakpoint inside.
double largest_within(const Table& table, const BandRegion& where) {
  const auto along = [](std::span<const double> axis, std::optional<double> from, std::optional<double> to) {
    std::vector<double> at;
    for (double x : axis)
      if ((!from || x >= *from) && (!to || x <= *to)) at.push_back(x);
    if (from) at.push_back(*from);
    if (to) at.push_back(*to);
    return at;
  };
  const auto value = [](const auto& quantity) { return quantity ? std::optional{quantity->value()} : std::nullopt; };
  double most = 0;
  for (double speed : along(table.axis(0), value(where.speed_from), value(where.speed_to)))
    for (double pressure : along(table.axis(1), value(where.pressure_from), value(where.pressure_to)))
      most = std::max(most, table(speed, pressure));
  return most;
}

/// A unit at the edge of its band must still be under the hard ceiling.
void SweepReader::check_ceiling(const Tolerance& tolerance, const BandRegion& where, yaml::Place place) {
  if (!product_) return;
  for (const PressureChannel& pressure : product_->pressures) {
    const double hidden = pressure.shift ? largest_within(product_->tables[pressure.shift->table].table, where) : 0;
    const double band = std::max(tolerance.absolute, tolerance.relative * pressure.highest_reported.value());
    if (hidden + band <= pressure.ceiling.most_hidden.value()) continue;
    complaints_.add(
        place,
        fmt::format("this band lets {} hide {} and {} more; its hard ceiling is {}", pressure.name,
                    to_text(Kilopascals{hidden}), to_text(Kilopascals{band}), to_text(pressure.ceiling.most_hidden)),
        "Narrow the band: no scenario can override the ceiling");
    return;
  }
}

}  // namespace

StepSpec read_sweep(MapReader& step, const Product* product) { return SweepReader{step, product}.read(); }

}  // namespace rig
