#include <algorithm>
#include <cmath>

#include "rig/compile/load_file.hpp"
#include "rig/compile/load_parts.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

constexpr std::size_t kMostSteps = 64;

enum class StepKind { self_test, power_up, pass_through, sweep };

class ScenarioReader {
 public:
  ScenarioReader(PlacedComplaints& complaints, std::shared_ptr<const Product> product) : complaints_{complaints} {
    scenario_.product = std::move(product);
  }
  std::optional<Scenario> read(const Node& root);

 private:
  void read_step(const Node& node, std::size_t number);
  SelfTestSpec read_self_test(MapReader& step);
  PowerUpSpec read_power_up(MapReader& step);
  PassThroughSpec read_pass_through(MapReader& step);
  void read_states(MapReader& step, PassThroughSpec& spec);
  void check_pressures(const std::vector<Kilopascals>& pressures, const Node& list);
  void check_idle(const PassThroughSpec& spec, yaml::Place place);
  void check_order(yaml::Place place);
  Rpm highest_speed() const { return scenario_.product ? scenario_.product->speed.highest : Rpm{20000}; }

  PlacedComplaints& complaints_;
  Scenario scenario_;
  std::vector<StepKind> kinds_;
  std::vector<std::pair<std::string, yaml::Place>> names_;
};

std::optional<Scenario> ScenarioReader::read(const Node& root) {
  const std::size_t before = complaints_.count();
  {
    MapReader file{root, complaints_, "the scenario"};
    file.find("scenario");
    file.find("product");  // read by the caller
    file.need_name("name", scenario_.name, "end-of-line");
    file.need_text("title", scenario_.title, "End of line, two-pressure module");
    file.need_choice(
        "purpose", scenario_.purpose,
        {{"end_of_line", Purpose::end_of_line}, {"regression", Purpose::regression}, {"trial", Purpose::trial}},
        "end_of_line");
    if (const Node* steps =
            file.need("steps", "[{step: self_test}, {step: power_up}, {step: pass_through}, {step: sweep}]")) {
      std::size_t number = 0;
      for (const Node& item : yaml::items(*steps, 1, kMostSteps, "the steps", complaints_)) read_step(item, number++);
      // A step of a kind that nobody knows may be the one that would be missed.
      const bool all_known = number > 0 && kinds_.size() == number;
      if (scenario_.purpose == Purpose::end_of_line && all_known) check_order(file.place("steps"));
    }
  }
  if (complaints_.count() != before || !scenario_.product) return std::nullopt;
  return scenario_;
}

void ScenarioReader::read_step(const Node& node, std::size_t number) {
  MapReader step{node, complaints_, fmt::format("step {}", number + 1)};
  StepKind kind{};
  if (!step.need_choice("step", kind,
                        {{"self_test", StepKind::self_test},
                         {"power_up", StepKind::power_up},
                         {"pass_through", StepKind::pass_through},
                         {"sweep", StepKind::sweep}},
                        "sweep")) {
    if (node.kind == Node::Kind::map)
      for (const yaml::Entry& entry : node.entries) step.find(entry.key);
    return;
  }
  kinds_.push_back(kind);
  // A step is named after its kind unless the file says otherwise; findings are found by this name for ever.
  std::string name = step.find("step")->text;
  if (const Node* given = step.find("name")) yaml::read_name(*given, name, complaints_);
  const auto same = std::find_if(names_.begin(), names_.end(), [&](const auto& other) { return other.first == name; });
  if (same != names_.end()) {
    complaints_.add(node.place, fmt::format("a step '{}' is there already, in line {}", name, same->second.line),
                    "Give this one another `name`");
  }
  names_.emplace_back(name, node.place);
  StepSpec spec;
  switch (kind) {
    case StepKind::self_test:
      spec = read_self_test(step);
      break;
    case StepKind::power_up:
      spec = read_power_up(step);
      break;
    case StepKind::pass_through:
      spec = read_pass_through(step);
      break;
    case StepKind::sweep:
      spec = read_sweep(step, scenario_.product.get());
      break;
  }
  std::visit([&](auto& one) { one.name = name; }, spec);
  scenario_.steps.push_back(std::move(spec));
}

SelfTestSpec ScenarioReader::read_self_test(MapReader& step) {
  SelfTestSpec spec;
  if (const Node* levels = step.find("levels"))
    read_list(*levels, spec.levels, {Volts{0}, Volts{6}}, 16, "`levels`", complaints_);
  step.may("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed()});
  return spec;
}

/// How much the tables hide of a channel at a point, before derating; 0 without a table.
double hidden(const Product& product, const PressureChannel& channel, Rpm speed, Kilopascals pressure) {
  return channel.shift ? product.tables[channel.shift->table].table(speed.value(), pressure.value()) : 0;
}

PowerUpSpec ScenarioReader::read_power_up(MapReader& step) {
  PowerUpSpec spec;
  step.may("repeat", spec.repeat, Allowed<int>{1, 1000});
  step.may("off_time", spec.off, Allowed<Nanoseconds>{10ms, 60s});
  if (const Node* at = step.need("at", "{speed: 3500 rpm, pressure: 200 kPa}")) {
    const std::size_t before = complaints_.count();
    MapReader map{*at, complaints_, "`at`"};
    map.need("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed()}, "3500 rpm");
    map.need("pressure", spec.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "200 kPa");
    if (scenario_.product && complaints_.count() == before) {
      check_pressures({spec.pressure}, *map.find("pressure"));
      for (const PressureChannel& channel : scenario_.product->pressures) {
        // A start is seen by the output leaving its input: 3 kPa is some 50 mV on a usual sensor.
        if (!channel.shift || hidden(*scenario_.product, channel, spec.speed, spec.pressure) >= 3) continue;
        complaints_.add(at->place, fmt::format("{} is hardly shifted here: its start could not be seen", channel.name),
                        "Choose a speed and pressure where the table has 3 kPa or more");
        break;
      }
    }
  }
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints_, "`expect`"};
    map.may("glitch", spec.glitch, Allowed<Volts>{Volts{0.001}, Volts{1}});
  }
  return spec;
}

void ScenarioReader::read_states(MapReader& step, PassThroughSpec& spec) {
  using State = PassThroughState;
  const Node* list = step.need("states", "[unpowered, booting, zero_speed, idle, bypassed]");
  if (!list) return;
  for (const Node& item : yaml::items(*list, 1, 16, "`states`", complaints_)) {
    State state{};
    if (!yaml::read_choice(item, state,
                           {{"unpowered", State::unpowered},
                            {"battery_only", State::battery_only},
                            {"rails_only", State::rails_only},
                            {"booting", State::booting},
                            {"zero_speed", State::zero_speed},
                            {"idle", State::idle},
                            {"bypassed", State::bypassed},
                            {"sensor_low", State::sensor_low},
                            {"sensor_high", State::sensor_high}},
                           "states", complaints_))
      continue;
    if (std::find(spec.states.begin(), spec.states.end(), state) != spec.states.end()) {
      complaints_.add(item.place, fmt::format("'{}' is there twice", item.text), "Keep one");
    } else if (state == State::bypassed && scenario_.product && !scenario_.product->bypass_request) {
      complaints_.add(item.place, "the product has no line that asks for the bypass",
                      "Take 'bypassed' away, or give the product its `bypass_request`");
    }
    spec.states.push_back(state);
  }
}

PassThroughSpec ScenarioReader::read_pass_through(MapReader& step) {
  const std::size_t before = complaints_.count();
  PassThroughSpec spec;
  read_states(step, spec);
  const Node* pressures = step.find("pressures");
  if (pressures &&
      read_list(*pressures, spec.pressures, {Kilopascals{0}, Kilopascals{1000}}, 32, "`pressures`", complaints_))
    check_pressures(spec.pressures, *pressures);
  step.may("idle_speed", spec.idle_speed, Allowed<Rpm>{Rpm{100}, highest_speed()});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints_, "`expect`"};
    if (const Node* band = map.find("band")) read_tolerance(*band, spec.band, Volts{0.5}, complaints_);
    if (const Node* band = map.find("passive_band")) read_tolerance(*band, spec.passive_band, Volts{0.5}, complaints_);
    map.may("rail_distance", spec.rail_distance, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
  }
  if (complaints_.count() == before) check_idle(spec, step.place("idle_speed"));
  return spec;
}

void ScenarioReader::check_pressures(const std::vector<Kilopascals>& pressures, const Node& list) {
  if (!scenario_.product) return;
  for (std::size_t i = 0; i < pressures.size(); ++i) {
    for (const PressureChannel& channel : scenario_.product->pressures) {
      if (channel.lowest_input <= pressures[i] && pressures[i] <= channel.highest_input) continue;
      complaints_.add(
          list.items.empty() ? list.place : list.items[i].place,
          fmt::format("{} lies outside what the sensor of {} sees", to_text(pressures[i]), channel.name),
          fmt::format("{} to {} can be visited", to_text(channel.lowest_input), to_text(channel.highest_input)));
      break;
    }
  }
}

/// At idle a module passes through because its table says so: where the table hides something, it would rightly fail.
void ScenarioReader::check_idle(const PassThroughSpec& spec, yaml::Place place) {
  if (!scenario_.product ||
      std::find(spec.states.begin(), spec.states.end(), PassThroughState::idle) == spec.states.end())
    return;
  for (const PressureChannel& channel : scenario_.product->pressures) {
    for (Kilopascals pressure : spec.pressures) {
      const double kpa = hidden(*scenario_.product, channel, spec.idle_speed, pressure);
      if (std::abs(kpa) < 1e-9) continue;
      complaints_.add(
          place,
          fmt::format("at {} and {} the table of {} hides {}: that is no pass-through", to_text(spec.idle_speed),
                      to_text(pressure), channel.name, to_text(Kilopascals{kpa}, 2)),
          "Choose an idle speed and pressures where the table is 0");
      return;
    }
  }
}

/// The order that proving a module asks for: the bench proves itself first, and nothing mandatory is left out.
void ScenarioReader::check_order(yaml::Place place) {
  if (kinds_.front() != StepKind::self_test)
    complaints_.add(names_.front().second, "an end-of-line scenario must begin with a self_test",
                    "Put `- step: self_test` first: a bench that has not proved itself proves no unit");
  for (const auto& [kind, word] : {std::pair{StepKind::power_up, "power_up"},
                                   {StepKind::pass_through, "pass_through"},
                                   {StepKind::sweep, "sweep"}}) {
    if (std::find(kinds_.begin(), kinds_.end(), kind) == kinds_.end())
      complaints_.add(place, fmt::format("an end-of-line scenario without a {} proves no unit", word),
                      fmt::format("Add `- step: {}`", word));
  }
}

/// Reads the product that a scenario names. The product's complaints come with the scenario's own.
std::shared_ptr<const Product> load_named_product(const std::string& path, const Node& root,
                                                  PlacedComplaints& complaints, Loaded<Scenario>& loaded,
                                                  Complaints& of_product) {
  MapReader file{root, complaints, "the scenario"};
  for (const yaml::Entry& entry : root.entries)
    file.find(entry.key);  // known or not: the reader of the whole file says
  const Node* node = file.need("product", "products/two-pressure.yaml");
  std::string reference;
  if (!node || !yaml::read_text(*node, reference, complaints)) return nullptr;
  const auto where = referred_path(path, reference, node->place, complaints);
  if (!where) return nullptr;
  Loaded<Product> product = load_product(*where);
  for (SourceFile& source : product.files) loaded.files.push_back(std::move(source));
  of_product = std::move(product.complaints);
  return product.value ? std::make_shared<const Product>(std::move(*product.value)) : nullptr;
}

}  // namespace

Loaded<Scenario> load_scenario(const std::string& path) {
  Loaded<Scenario> loaded;
  PlacedComplaints complaints{path};
  Complaints of_product;
  loaded.files.emplace_back();
  auto root = open_file(path, loaded.files.front(), complaints);
  if (root && settle_format(*root, FileKind::scenario, complaints)) {
    auto product = load_named_product(path, *root, complaints, loaded, of_product);
    loaded.value = ScenarioReader{complaints, std::move(product)}.read(*root);
  }
  loaded.complaints = complaints.sorted();
  loaded.complaints.insert(loaded.complaints.end(), of_product.begin(), of_product.end());
  if (!loaded.complaints.empty()) loaded.value.reset();
  return loaded;
}

}  // namespace rig
