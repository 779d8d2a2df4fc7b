#include "rig/core/quantity_text.hpp"

#include <algorithm>
#include <cmath>

#include "rig/compile/load_file.hpp"
#include "rig/compile/load_parts.hpp"
#include "rig/compile/load_reactions.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

constexpr Allowed<Kilopascals> kPressures{Kilopascals{0}, Kilopascals{1000}};

/// Reads a product part by part. Names are gathered first, so that parts may refer to each other in any order.
class ProductReader {
 public:
  explicit ProductReader(PlacedComplaints& complaints) : complaints_{complaints} {}
  std::optional<Product> read(const Node& root);

 private:
  void read_head(MapReader& file);
  void read_rails(const Node& node);
  void read_battery(const Node& node);
  void read_pressures(const Node& node);
  void read_pressure(const Node& node, std::size_t number);
  void read_sensor(const Node& node, PressureChannel& channel, std::optional<PressureCurve>& curve);
  void read_controller(const Node& node, ControllerInput& controller);
  void read_reported(const Node& node, PressureChannel& channel);
  void read_shift(MapReader& map, const Node& minus, PressureChannel& channel);
  void read_ceiling(const Node& node, HardCeiling& ceiling);
  void check_shift(const PressureChannel& channel, const Shift& shift, yaml::Place place);
  void read_temperature(const Node& node);
  void refuse_in_a_plug(MapReader& map, std::initializer_list<std::string_view> keys);
  std::size_t rail_of(MapReader& map);
  std::optional<std::size_t> table_of(MapReader& map, const Node& node, const std::vector<AxisKind>& axes,
                                      CellKind cells, std::string_view wanted);

  PlacedComplaints& complaints_;
  std::vector<TableFromFile> tables_;
  std::vector<std::string> rail_names_, pressure_names_;
  std::optional<Wheel> wheel_;
  SpeedLine speed_{Wheel::missing_tooth(60, 2)};  // the wheel is replaced by the file's own
  Product product_{{}, {}, {}, {}, speed_, {}, {}, {}, {}, {}, {}, {}};
};

/// The `name` of each mapping in a list, empty where there is none; complaints about them come later.
std::vector<std::string> names_in(const Node* list, std::string_view key) {
  std::vector<std::string> names;
  if (!list) return names;
  for (const Node& item : list->items) {
    std::string name;
    for (const yaml::Entry& entry : item.entries)
      if (entry.key == key) name = entry.value.text;
    names.push_back(std::move(name));
  }
  return names;
}

std::optional<Product> ProductReader::read(const Node& root) {
  const std::size_t before = complaints_.count();
  {
    MapReader file{root, complaints_, "the product"};
    file.find("product");
    read_head(file);
    file.may("straight_through", product_.straight_through);
    if (product_.straight_through) refuse_in_a_plug(file, {"tables", "bypass_request", "service", "reactions"});
    if (const Node* tables = file.find("tables")) tables_ = read_tables(*tables, complaints_);
    if (const Node* rails = file.need("rails", "{rail_5v: {nominal: 5 V, range: [4.5 V, 5.5 V]}}")) read_rails(*rails);
    if (const Node* battery = file.need(
            "battery", "{nominal: 13.8 V, range: [6 V, 16 V], idle_current: [20 mA, 200 mA], highest_inrush: 1 A}"))
      read_battery(*battery);
    if (const Node* speed = file.need(
            "speed", "{wheel: {missing_tooth: {positions: 60, missing: 2}}, line: tapped, highest: 7500 rpm}"))
      wheel_ = read_speed_line(*speed, speed_, complaints_);
    const Node* pressures = file.need("pressures", "[{name: manifold_pressure, ...}]");
    pressure_names_ = names_in(pressures, "name");
    if (pressures) read_pressures(*pressures);
    if (const Node* temperature = file.find("temperature")) read_temperature(*temperature);
    if (const Node* timing = file.need("timing", "{boot: 300 ms, latency: 10 ms, slowest: 10 ms, settle: {...}}"))
      product_.timing = read_timing(*timing, complaints_);
    if (const Node* bypass = file.find("bypass_request")) {
      BypassRequest request;
      if (yaml::read_name(*bypass, request.line, complaints_)) product_.bypass_request = request;
    }
    if (const Node* wires = file.find("wires")) product_.wires = read_wire_limits(*wires, complaints_);
    if (const Node* service = file.find("service")) product_.service = read_service_port(*service, complaints_);
    if (const Node* connectors = file.find("connectors")) product_.pins = read_connectors(*connectors, complaints_);
    if (const Node* reactions = file.find("reactions")) product_.reactions = read_reactions(*reactions, complaints_);
    if (const Node* build = file.find("build")) product_.build = read_module_build(*build, complaints_);
  }
  if (complaints_.count() != before) return std::nullopt;
  for (TableFromFile& table : tables_) product_.tables.push_back({table.name, std::move(*table.table)});
  product_.speed = speed_;
  product_.speed.wheel = *wheel_;
  return product_;
}

/// A straight-through plug is copper alone.
void ProductReader::refuse_in_a_plug(MapReader& map, std::initializer_list<std::string_view> keys) {
  for (std::string_view key : keys)
    if (map.find(key))
      map.refuse(key, fmt::format("'{}' has no meaning: this product is a straight-through plug", key),
                 "Take it away, or take `straight_through` away");
}

void ProductReader::read_head(MapReader& file) {
  file.need_name("name", product_.name, "two-pressure");
  file.need_text("title", product_.title, "Two pressures, intake temperature, four-lobe cam wheel");
  if (!file.may_text("serial_pattern", product_.serial_pattern)) return;
  const bool good = std::all_of(product_.serial_pattern.begin(), product_.serial_pattern.end(), [](char c) {
    return (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '#' || c == '@' || c == '-' || c == '_' ||
           c == '.' || c == '/';
  });
  if (!good || product_.serial_pattern.size() > 32) {
    file.complaints().add(file.find("serial_pattern")->place,
                          fmt::format("'{}' is no pattern for serial numbers", product_.serial_pattern),
                          "Write # for a digit, @ for a capital letter, and what is fixed as it is: \"K-#####\"");
  }
}

void ProductReader::read_rails(const Node& node) {
  if (node.kind != Node::Kind::map || node.entries.empty() || node.entries.size() > 2) {
    if (node.kind != Node::Kind::refused)
      complaints_.add(node.place, "one or two 5 V rails are wanted",
                      "Write `rail_5v: {nominal: 5 V, range: [4.5 V, 5.5 V]}`");
    return;
  }
  for (const yaml::Entry& entry : node.entries) {
    Rail rail;
    rail.name = entry.key;
    rail_names_.push_back(entry.key);
    MapReader map{entry.value, complaints_, fmt::format("rail '{}'", entry.key)};
    map.need("nominal", rail.nominal, Allowed<Volts>{Volts{3}, Volts{6}}, "5 V");
    if (const Node* range = map.need("range", "[4.5 V, 5.5 V]");
        range && read_range(*range, rail.lowest, rail.highest, {Volts{2}, Volts{6}}, "the range", complaints_)) {
      if (rail.nominal < rail.lowest || rail.highest < rail.nominal)
        map.refuse("range", "the rail's nominal voltage lies outside its range",
                   "Widen the range or mend the nominal voltage");
    }
    product_.rails.push_back(rail);
  }
}

void ProductReader::read_battery(const Node& node) {
  Battery& battery = product_.battery;
  MapReader map{node, complaints_, "the battery"};
  const bool nominal = map.need("nominal", battery.nominal, Allowed<Volts>{Volts{5}, Volts{30}}, "13.8 V");
  if (const Node* range = map.need("range", "[6 V, 16 V]");
      range && read_range(*range, battery.lowest, battery.highest, {Volts{3}, Volts{36}}, "the range", complaints_)) {
    if (nominal && (battery.nominal < battery.lowest || battery.highest < battery.nominal))
      map.refuse("range", "the battery's nominal voltage lies outside its range",
                 "Widen the range or mend the nominal voltage");
  }
  if (product_.straight_through) {
    refuse_in_a_plug(map, {"idle_current", "highest_inrush"});
    battery.idle_high = Amperes{0};
    return;
  }
  if (const Node* idle = map.need("idle_current", "[20 mA, 200 mA]"))
    read_range(*idle, battery.idle_low, battery.idle_high, {Amperes{0}, Amperes{5}}, "the idle current", complaints_);
  map.need("highest_inrush", battery.highest_inrush, Allowed<Amperes>{Amperes{0.001}, Amperes{20}}, "1 A");
}

void ProductReader::read_pressures(const Node& node) {
  std::size_t number = 0;
  for (const Node& item : yaml::items(node, 1, 2, "the pressures", complaints_)) read_pressure(item, number++);
}

std::size_t ProductReader::rail_of(MapReader& map) {
  const Node* node = map.need("rail", rail_names_.empty() ? "rail_5v" : rail_names_.front());
  if (!node || rail_names_.empty()) return 0;
  return map.one_of(*node, rail_names_, "rail").value_or(0);
}

void ProductReader::read_pressure(const Node& node, std::size_t number) {
  const std::size_t before = complaints_.count();
  // The curve stands in until the file's own is there: a channel without one leaves complaints, and no product.
  PressureChannel channel{{}, PressureCurve{{{Kilopascals{0}, Volts{0}}, {Kilopascals{1}, Volts{1}}}},
                          {}, {},
                          {}, {},
                          {}, {},
                          0,  {},
                          {}, {},
                          {}};
  channel.source_resistance = Ohms{100}, channel.source_current = Amperes{0.005};
  std::optional<PressureCurve> curve;
  MapReader map{node, complaints_,
                number < pressure_names_.size() && !pressure_names_[number].empty()
                    ? fmt::format("pressure '{}'", pressure_names_[number])
                    : fmt::format("pressure {}", number + 1)};
  if (const Node* name = map.need("name", "manifold_pressure")) {
    int which = 0;
    if (yaml::read_choice(*name, which, {{"charge_pressure", 1}, {"manifold_pressure", 2}}, "name", complaints_))
      channel.name = name->text;
    if (number == 1 && !channel.name.empty() && pressure_names_[0] == channel.name)
      complaints_.add(name->place, fmt::format("'{}' is there twice", channel.name), "Give each pressure its own name");
  }
  channel.rail = rail_of(map);
  if (const Node* sensor = map.need("sensor", "{curve: [[20 kPa, 0.5 V], [250 kPa, 4.5 V]], range: [20 kPa, 250 kPa]}"))
    read_sensor(*sensor, channel, curve);
  if (curve) channel.curve = *curve;
  if (const Node* controller = map.need("controller", "{pull_down: 47 kohm}"))
    read_controller(*controller, channel.controller);
  if (const Node* ceiling = map.need(
          "hard_ceiling", "{most_hidden: 35 kPa, most_added: 2 kPa, output: [0.2 V, 4.8 V], longest_outside: 50 ms}"))
    read_ceiling(*ceiling, channel.ceiling);
  if (const Node* reported = map.need("reported", "{minus: shift, index: manifold_pressure, range: [20 kPa, 250 kPa]}"))
    read_reported(*reported, channel);
  if (complaints_.count() == before && channel.shift) check_shift(channel, *channel.shift, map.place("reported"));
  product_.pressures.push_back(std::move(channel));
}

void ProductReader::read_sensor(const Node& node, PressureChannel& channel, std::optional<PressureCurve>& curve) {
  Volts nominal{5};
  MapReader map{node, complaints_, "the sensor"};
  map.may("at_rail", nominal, Allowed<Volts>{Volts{3}, Volts{6}});
  if (const Node* points = map.need("curve", "[[20 kPa, 0.5 V], [250 kPa, 4.5 V]]"))
    curve = read_pressure_curve(*points, nominal, complaints_);
  if (const Node* rails = map.find("diagnostic_rails"))
    read_range(*rails, channel.rails.low, channel.rails.high, {Volts{0}, nominal}, "the diagnostic rails", complaints_);
  map.may("resistance", channel.source_resistance, Allowed<Ohms>{Ohms{0}, Ohms{100000}});
  map.may("current", channel.source_current, Allowed<Amperes>{Amperes{0.0001}, Amperes{0.1}});
  const Node* range = map.need("range", "[20 kPa, 250 kPa]");
  if (!range ||
      !read_range(*range, channel.lowest_input, channel.highest_input, kPressures, "the range", complaints_) || !curve)
    return;
  if (curve->volts(channel.lowest_input, nominal) <= channel.rails.low ||
      curve->volts(channel.highest_input, nominal) >= channel.rails.high) {
    map.refuse("range", "within this range the sensor's voltage reaches its diagnostic rails",
               "Narrow the range, or mend the curve or the rails");
  }
}

void ProductReader::read_controller(const Node& node, ControllerInput& controller) {
  constexpr Allowed<Ohms> allowed{Ohms{500}, Ohms{1e7}};
  MapReader map{node, complaints_, "the controller's input"};
  map.may("pull_up", controller.pull_up, allowed);
  map.may("pull_down", controller.pull_down, allowed);
  map.may("filter", controller.filter, Allowed<Nanoseconds>{0ns, 1s});
}

void ProductReader::read_ceiling(const Node& node, HardCeiling& ceiling) {
  MapReader map{node, complaints_, "the hard ceiling"};
  map.need("most_hidden", ceiling.most_hidden, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{100}}, "35 kPa");
  map.need("most_added", ceiling.most_added, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{100}}, "2 kPa");
  if (const Node* window = map.need("output", "[0.2 V, 4.8 V]"))
    read_range(*window, ceiling.lowest_output, ceiling.highest_output, {Volts{0}, Volts{6}}, "the output window",
               complaints_);
  map.need("longest_outside", ceiling.longest_outside, Allowed<Nanoseconds>{1ms, 1s}, "50 ms");
}

void ProductReader::read_reported(const Node& node, PressureChannel& channel) {
  MapReader map{node, complaints_, "`reported`"};
  const Node* minus = map.find("minus");
  if (product_.straight_through) {
    refuse_in_a_plug(map, {"minus", "index", "times"});
  } else if (minus) {
    read_shift(map, *minus, channel);
  } else {
    for (std::string_view key : {"index", "times"})
      if (map.find(key))
        map.refuse(key, fmt::format("'{}' has no meaning without a table to subtract", key),
                   "Add `minus: shift` before it, or take it away");
  }
  if (const Node* range = map.need("range", "[20 kPa, 250 kPa]"))
    read_range(*range, channel.lowest_reported, channel.highest_reported, kPressures, "the range", complaints_);
}

std::optional<std::size_t> ProductReader::table_of(MapReader& map, const Node& node, const std::vector<AxisKind>& axes,
                                                   CellKind cells, std::string_view wanted) {
  std::vector<std::string> names;
  for (const TableFromFile& table : tables_) names.push_back(table.name);
  const auto which = map.one_of(node, names, "table");
  if (!which) return std::nullopt;
  const TableFromFile& table = tables_[*which];
  if (table.table && (table.axes != axes || table.cells != cells)) {
    complaints_.add(node.place, fmt::format("table '{}' does not fit here", table.name),
                    fmt::format("Name a table with {}", wanted));
    return std::nullopt;
  }
  return which;
}

void ProductReader::read_shift(MapReader& map, const Node& minus, PressureChannel& channel) {
  Shift shift;
  const auto table = table_of(map, minus, {AxisKind::speed, AxisKind::pressure}, CellKind::pressure,
                              "speed down its rows, pressure along its columns, giving kPa");
  std::optional<std::size_t> index;
  if (const Node* name = map.need("index", "manifold_pressure")) index = map.one_of(*name, pressure_names_, "pressure");
  if (const Node* times = map.find("times"))
    shift.derate = table_of(map, *times, {AxisKind::temperature}, CellKind::factor,
                            "temperature along its columns, giving a factor");
  if (!table || !index) return;
  shift.table = *table, shift.index_pressure = *index;
  channel.shift = shift;
}

/// A table that may hide more than the hard ceiling allows contradicts it: one of the two is wrong.
void ProductReader::check_shift(const PressureChannel& channel, const Shift& shift, yaml::Place place) {
  const TableFromFile& table = tables_[shift.table];
  if (!table.table) return;
  if (Kilopascals most{table.table->largest()}; most >= channel.ceiling.most_hidden) {
    complaints_.add(table.largest_cell,
                    fmt::format("this cell hides {}; the hard ceiling of {} is {}", to_text(most), channel.name,
                                to_text(channel.ceiling.most_hidden)),
                    "Lower the cell: a unit must never come near its ceiling");
  }
  if (Kilopascals added{-table.table->smallest()}; added >= channel.ceiling.most_added) {
    complaints_.add(place,
                    fmt::format("table '{}' adds up to {}; the hard ceiling of {} permits {}", table.name,
                                to_text(added), channel.name, to_text(channel.ceiling.most_added)),
                    "Take the negative cells out of the table");
  }
}

void ProductReader::read_temperature(const Node& node) {
  const std::size_t before = complaints_.count();
  TemperatureChannel channel;
  {
    MapReader map{node, complaints_, "the temperature"};
    map.need_name("name", channel.name, "intake_temperature");
    channel.rail = rail_of(map);
    Ohms pull_up{2200};
    map.need("pull_up", pull_up, Allowed<Ohms>{Ohms{100}, Ohms{100000}}, "2.2 kohm");
    map.need_choice(
        "pull_up_at", channel.pull_up_at,
        {{"controller", PullUpPlace::controller}, {"module", PullUpPlace::module}, {"both", PullUpPlace::both}},
        "controller");
    map.need_choice("line", channel.routing,
                    {{"straight", TemperatureRouting::straight},
                     {"tapped", TemperatureRouting::tapped},
                     {"redriven", TemperatureRouting::redriven}},
                    "straight");
    if (const Node* range = map.need("range", "[-40 degC, 130 degC]"))
      read_range(*range, channel.lowest, channel.highest, {Celsius{-60}, Celsius{300}}, "the range", complaints_);
    if (const Node* sensor = map.need("sensor", "{beta: {resistance: 2 kohm, at: 25 degC, beta: 3500 K}}")) {
      if (auto curve = read_temperature_sensor(*sensor, pull_up, complaints_)) channel.curve = std::move(*curve);
    }
    if (std::find(pressure_names_.begin(), pressure_names_.end(), channel.name) != pressure_names_.end())
      map.refuse("name", fmt::format("'{}' is the name of a pressure", channel.name), "Give each channel its own name");
  }
  if (complaints_.count() == before) product_.temperature = std::move(channel);
}

/// Where a key of the whole product stands.
yaml::Place place_of(const Node& root, std::string_view key) {
  for (const yaml::Entry& entry : root.entries)
    if (entry.key == key) return entry.place;
  return root.place;
}

/// What only the whole product can tell.
void check_whole(const Product& product, const Node& root, PlacedComplaints& complaints) {
  const bool derates = std::any_of(product.pressures.begin(), product.pressures.end(),
                                   [](const PressureChannel& p) { return p.shift && p.shift->derate; });
  if (derates && !product.temperature)
    complaints.add(place_of(root, "pressures"),
                   "a table over temperature is used, but the product has no `temperature`",
                   "Add the temperature channel, or take `times` away");
  if (product.straight_through && product.speed.routing != SpeedRouting::tapped)
    complaints.add(place_of(root, "speed"), "a straight-through plug makes no edges anew", "Write `line: tapped`");
  if (product.straight_through && product.temperature && product.temperature->routing != TemperatureRouting::straight)
    complaints.add(place_of(root, "temperature"), "a straight-through plug drives no temperature line",
                   "Write `line: straight`");
  if (!product.pins.empty()) check_pins(product, place_of(root, "connectors"), complaints);
  for (const yaml::Entry& entry : root.entries)
    if (entry.key == "reactions") check_reactions(product, entry.value, complaints);
}

}  // namespace

Loaded<Product> load_product(const std::string& path) {
  Loaded<Product> loaded;
  PlacedComplaints complaints{path};
  loaded.files.emplace_back();
  auto root = open_file(path, loaded.files.front(), complaints);
  if (root && settle_format(*root, FileKind::product, complaints)) {
    loaded.value = ProductReader{complaints}.read(*root);
    if (loaded.value) check_whole(*loaded.value, *root, complaints);
  }
  loaded.complaints = complaints.sorted();
  if (!loaded.complaints.empty()) loaded.value.reset();
  return loaded;
}

}  // namespace rig
