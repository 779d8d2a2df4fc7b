#include <algorithm>

#include "rig/compile/load_parts.hpp"
#include "rig/core/quantity_text.hpp"

/// The steps that look at a module's wires and at who it is: contacts, loading, speed line, identity, program, warm-up.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

StepSpec read_contacts(MapReader& step, const Product* product) {
  ContactsSpec spec;
  const bool level = step.may("level", spec.level, Allowed<Volts>{Volts{0.2}, Volts{3}});
  const bool lowest = step.may("lowest_level", spec.lowest_level, Allowed<Volts>{Volts{0}, Volts{1}});
  if (spec.level - spec.lowest_level < Volts{0.1} - Volts{1e-9})
    step.refuse(lowest ? "lowest_level" : "level",
                "the two levels are less than 0.1 V apart: a short could not be seen",
                level || lowest ? "Spread them" : "");
  step.may("reseats", spec.reseats, Allowed<int>{0, 10});
  const Node* expect = step.find("expect");
  if (!expect) return spec;
  MapReader map{*expect, step.complaints(), "`expect`"};
  Ohms most{};
  if (!map.may("most_through", most, Allowed<Ohms>{Ohms{0.1}, Ohms{1000}})) return spec;
  spec.most_through = most;
  if (product && most > product->wires.most_through)
    map.refuse("most_through",
               fmt::format("{} is more than the {} that the product promises", to_text(most),
                           to_text(product->wires.most_through)),
               "Narrow it: no scenario can widen what a unit must keep");
  return spec;
}

namespace {

void read_supply_states(MapReader& step, LoadingSpec& spec, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  const bool plug = product && product->straight_through;
  const Node* list = step.find("states");
  if (plug) spec.states = {SupplyState::unpowered};
  if (!list) return;
  spec.states.clear();
  for (const Node& item : yaml::items(*list, 1, 4, "`states`", complaints)) {
    SupplyState state{};
    if (!yaml::read_choice(item, state,
                           {{"unpowered", SupplyState::unpowered},
                            {"battery_only", SupplyState::battery_only},
                            {"rails_only", SupplyState::rails_only},
                            {"powered", SupplyState::powered}},
                           "states", complaints))
      continue;
    if (std::find(spec.states.begin(), spec.states.end(), state) != spec.states.end())
      complaints.add(item.place, fmt::format("'{}' is there twice", item.text), "Keep one");
    else if (plug && state != SupplyState::unpowered)
      complaints.add(item.place, "the product is a straight-through plug: it is never powered",
                     "Write `states: [unpowered]`");
    spec.states.push_back(state);
  }
}

}  // namespace

StepSpec read_loading(MapReader& step, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  LoadingSpec spec;
  read_supply_states(step, spec, product);
  const Node* pressures = step.find("pressures");
  if (pressures &&
      read_list(*pressures, spec.pressures, {Kilopascals{0}, Kilopascals{1000}}, 16, "`pressures`", complaints))
    check_pressures(spec.pressures, *pressures, product, complaints);
  step.may("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    map.may("rail_distance", spec.rail_distance, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
  }
  return spec;
}

namespace {

/// Where a miscounted edge shows as a wrong cell.
void read_seen_at(const Node& at, SpeedLineSpec& spec, const Product* product, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  MapReader map{at, complaints, "`seen_at`"};
  map.need("speed", spec.seen_at, Allowed<Rpm>{Rpm{100}, highest_speed(product)}, "3500 rpm");
  map.need("pressure", spec.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "200 kPa");
  if (!product || complaints.count() != before) return;
  check_pressures({spec.pressure}, *map.find("pressure"), product, complaints);
  check_shifted(spec.seen_at, spec.pressure, at.place, "a wrong count", *product, complaints);
}

/// A unit at the edge of its band must still be under the hard ceiling.
void check_ceiling(const SpeedLineSpec& spec, yaml::Place place, const Product* product, PlacedComplaints& complaints) {
  if (!product) return;
  for (const PressureChannel& channel : product->pressures) {
    const Kilopascals hides{hidden(*product, channel, spec.seen_at, spec.pressure)};
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

StepSpec read_speed_line_step(MapReader& step, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  SpeedLineSpec spec;
  if (const Node* speeds = step.find("speeds"))
    read_list(*speeds, spec.speeds, {Rpm{100}, highest_speed(product)}, 16, "`speeds`", complaints);
  if (product && product->straight_through) {
    for (std::string_view key : {"seen_at", "raised_lows", "lowered_highs", "slow_noisy_edges", "expect"})
      if (step.find(key))
        step.refuse(key, fmt::format("'{}' has no meaning: a straight-through plug counts no edges", key),
                    "Take it away");
    spec.raised_lows = spec.lowered_highs = spec.slow_noisy_edges = false;
    return spec;
  }
  if (const Node* at = step.find("seen_at")) {
    read_seen_at(*at, spec, product, complaints);
  } else if (product) {
    check_shifted(spec.seen_at, spec.pressure, step.place(), "a wrong count", *product, complaints);
  }
  step.may("raised_lows", spec.raised_lows);
  step.may("lowered_highs", spec.lowered_highs);
  step.may("slow_noisy_edges", spec.slow_noisy_edges);
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    if (const Node* band = map.find("band"); band && read_tolerance(*band, spec.band, Kilopascals{100}, complaints))
      check_ceiling(spec, band->place, product, complaints);
  }
  return spec;
}

StepSpec read_identify(MapReader& step, const Product* product) {
  IdentifySpec spec;
  const Node* list = step.find("questions");
  const bool plug = product && product->straight_through;  // complained about as a whole
  if (product && !product->service && !plug) {
    step.complaints().add(step.place(), "the product has no service port: it cannot be asked who it is",
                          "Take this step away, or give the product its `service`");
    return spec;
  }
  if (!list) return spec;
  std::vector<std::string> known;
  if (product && product->service)
    for (const ServiceQuestion& question : product->service->questions) known.push_back(question.name);
  for (const Node& item : yaml::items(*list, 1, 32, "`questions`", step.complaints())) {
    std::string name;
    if (!yaml::read_name(item, name, step.complaints())) continue;
    if (product && !plug && !step.one_of(item, known, "question")) continue;
    if (std::find(spec.questions.begin(), spec.questions.end(), name) != spec.questions.end())
      step.complaints().add(item.place, fmt::format("'{}' is there twice", name), "Keep one");
    spec.questions.push_back(std::move(name));
  }
  return spec;
}

StepSpec read_program(MapReader& step) {
  ProgramSpec spec;
  if (const Node* list = step.need("command", "[load-firmware, --serial, \"{serial}\"]")) {
    for (const Node& item : yaml::items(*list, 1, 32, "the command", step.complaints())) {
      std::string word;
      if (!yaml::read_text(item, word, step.complaints())) continue;
      for (std::size_t at = word.find('{'); at != std::string::npos; at = word.find('{', at + 1)) {
        if (word.compare(at, 8, "{serial}") == 0) continue;
        step.complaints().add(item.place, fmt::format("{} has a placeholder that is not known", yaml::describe(item)),
                              "Only {serial} stands for something: the unit's serial number");
        break;
      }
      spec.command.push_back(std::move(word));
    }
  }
  step.may("time_out", spec.time_out, Allowed<Nanoseconds>{1s, 3600s});
  step.may("powered", spec.powered);
  return spec;
}

StepSpec read_warm_up(MapReader& step) {
  WarmUpSpec spec;
  step.may("over", spec.over, Allowed<Nanoseconds>{1s, 3600s});
  step.may("level", spec.level, Allowed<Volts>{Volts{0.1}, Volts{6}});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, step.complaints(), "`expect`"};
    map.may("drift", spec.most_drift, Allowed<Volts>{Volts{0.00001}, Volts{0.1}});
  }
  return spec;
}

}  // namespace rig
