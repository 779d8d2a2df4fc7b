#include <algorithm>
#include <cmath>

#include "rig/compile/load_parts.hpp"
#include "rig/core/quantity_text.hpp"

/// The steps that look at a module at work, but for the sweep: self-test, starts, pass-through.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

Rpm highest_speed(const Product* product) { return product ? product->speed.highest : Rpm{20000}; }

double hidden(const Product& product, const PressureChannel& channel, Rpm speed, Kilopascals pressure) {
  return channel.shift ? product.tables[channel.shift->table].table(speed.value(), pressure.value()) : 0;
}

void check_pressures(const std::vector<Kilopascals>& pressures, const Node& list, const Product* product,
                     PlacedComplaints& complaints) {
  if (!product) return;
  for (std::size_t i = 0; i < pressures.size(); ++i) {
    for (const PressureChannel& channel : product->pressures) {
      if (channel.lowest_input <= pressures[i] && pressures[i] <= channel.highest_input) continue;
      complaints.add(
          list.items.empty() ? list.place : list.items[i].place,
          fmt::format("{} lies outside what the sensor of {} sees", to_text(pressures[i]), channel.name),
          fmt::format("{} to {} can be visited", to_text(channel.lowest_input), to_text(channel.highest_input)));
      break;
    }
  }
}

void check_shifted(Rpm speed, Kilopascals pressure, yaml::Place place, std::string_view what, const Product& product,
                   PlacedComplaints& complaints) {
  for (const PressureChannel& channel : product.pressures) {
    // It is seen by the output leaving its input: 3 kPa is some 50 mV on a usual sensor.
    if (!channel.shift || hidden(product, channel, speed, pressure) >= 3) continue;
    complaints.add(place, fmt::format("{} is hardly shifted here: {} could not be seen", channel.name, what),
                   "Choose a speed and pressure where the table has 3 kPa or more");
    return;
  }
}

StepSpec read_self_test(MapReader& step, const Product* product) {
  SelfTestSpec spec;
  if (const Node* levels = step.find("levels"))
    read_list(*levels, spec.levels, {Volts{0}, Volts{6}}, 16, "`levels`", step.complaints());
  step.may("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)});
  return spec;
}

namespace {

/// Where input and table are the same, whatever an output does in between shows.
void check_unshifted(const PowerUpSpec::Unshifted& at, yaml::Place place, const Product& product,
                     PlacedComplaints& complaints) {
  for (const PressureChannel& channel : product.pressures) {
    const double kpa = hidden(product, channel, at.speed, at.pressure);
    if (std::abs(kpa) < 1e-9) continue;
    complaints.add(place, fmt::format("{} is shifted by {} here", channel.name, to_text(Kilopascals{kpa}, 2)),
                   "Choose a speed and pressure where the table is 0");
    return;
  }
}

}  // namespace

StepSpec read_power_up(MapReader& step, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  PowerUpSpec spec;
  spec.repeat = 10;
  step.may("repeat", spec.repeat, Allowed<int>{1, 1000});
  step.may("off_time", spec.off, Allowed<Nanoseconds>{10ms, 60s});
  if (const Node* at = step.need("at", "{speed: 3500 rpm, pressure: 200 kPa}")) {
    const std::size_t before = complaints.count();
    MapReader map{*at, complaints, "`at`"};
    map.need("speed", spec.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)}, "3500 rpm");
    map.need("pressure", spec.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "200 kPa");
    if (product && complaints.count() == before) {
      check_pressures({spec.pressure}, *map.find("pressure"), product, complaints);
      check_shifted(spec.speed, spec.pressure, at->place, "its start", *product, complaints);
    }
  }
  if (const Node* also = step.find("also_at")) {
    const std::size_t before = complaints.count();
    MapReader map{*also, complaints, "`also_at`"};
    PowerUpSpec::Unshifted at{};
    map.need("speed", at.speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)}, "3500 rpm");
    map.need("pressure", at.pressure, Allowed<Kilopascals>{Kilopascals{0}, Kilopascals{1000}}, "80 kPa");
    if (product && complaints.count() == before) {
      check_pressures({at.pressure}, *map.find("pressure"), product, complaints);
      check_unshifted(at, also->place, *product, complaints);
    }
    spec.also_at = at;
  }
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    map.may("glitch", spec.glitch, Allowed<Volts>{Volts{0.001}, Volts{1}});
  }
  return spec;
}

namespace {

void read_states(MapReader& step, PassThroughSpec& spec, const Product* product) {
  using State = PassThroughState;
  PlacedComplaints& complaints = step.complaints();
  const Node* list = step.need("states", "[unpowered, booting, zero_speed, idle, bypassed]");
  if (!list) return;
  for (const Node& item : yaml::items(*list, 1, 16, "`states`", complaints)) {
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
                            {"sensor_high", State::sensor_high},
                            {"no_ground", State::no_ground}},
                           "states", complaints))
      continue;
    if (std::find(spec.states.begin(), spec.states.end(), state) != spec.states.end()) {
      complaints.add(item.place, fmt::format("'{}' is there twice", item.text), "Keep one");
    } else if (product && product->straight_through && state != State::unpowered) {
      complaints.add(item.place, "the product is a straight-through plug: it is never powered",
                     "Write `states: [unpowered]`");
    } else if (state == State::bypassed && product && !product->bypass_request) {
      complaints.add(item.place, "the product has no line that asks for the bypass",
                     "Take 'bypassed' away, or give the product its `bypass_request`");
    }
    spec.states.push_back(state);
  }
}

/// At idle a module passes through because its table says so: where the table hides something, it would rightly fail.
void check_idle(const PassThroughSpec& spec, yaml::Place place, const Product* product, PlacedComplaints& complaints) {
  if (!product || std::find(spec.states.begin(), spec.states.end(), PassThroughState::idle) == spec.states.end())
    return;
  for (const PressureChannel& channel : product->pressures) {
    for (Kilopascals pressure : spec.pressures) {
      const double kpa = hidden(*product, channel, spec.idle_speed, pressure);
      if (std::abs(kpa) < 1e-9) continue;
      complaints.add(
          place,
          fmt::format("at {} and {} the table of {} hides {}: that is no pass-through", to_text(spec.idle_speed),
                      to_text(pressure), channel.name, to_text(Kilopascals{kpa}, 2)),
          "Choose an idle speed and pressures where the table is 0");
      return;
    }
  }
}

/// A unit at the edge of a band in volts must still be under the hard ceiling, which is in kPa.
void check_ceiling(const Tolerance& band, const Node& node, const PassThroughSpec& spec, const Product* product,
                   PlacedComplaints& complaints) {
  if (!product) return;
  for (const PressureChannel& channel : product->pressures) {
    const Volts rail = channel.curve.nominal_rail();
    for (Kilopascals pressure : spec.pressures) {
      const Volts in = channel.curve.volts(pressure, rail);
      const Volts off{std::max(band.absolute, band.relative * in.value())};
      const Kilopascals hides = pressure - channel.curve.pressure(in - off, rail);
      const Kilopascals adds = channel.curve.pressure(in + off, rail) - pressure;
      const HardCeiling& ceiling = channel.ceiling;
      if (hides <= ceiling.most_hidden && adds <= ceiling.most_added) continue;
      complaints.add(node.place,
                     fmt::format("this band lets {} hide {} or add {} at {}; its hard ceiling is {} and {}",
                                 channel.name, to_text(hides), to_text(adds), to_text(pressure),
                                 to_text(ceiling.most_hidden), to_text(ceiling.most_added)),
                     "Narrow the band: no scenario can override the ceiling");
      return;
    }
  }
}

}  // namespace

StepSpec read_pass_through(MapReader& step, const Product* product) {
  PlacedComplaints& complaints = step.complaints();
  const std::size_t before = complaints.count();
  PassThroughSpec spec;
  read_states(step, spec, product);
  const Node* pressures = step.find("pressures");
  if (pressures &&
      read_list(*pressures, spec.pressures, {Kilopascals{0}, Kilopascals{1000}}, 32, "`pressures`", complaints))
    check_pressures(spec.pressures, *pressures, product, complaints);
  step.may("idle_speed", spec.idle_speed, Allowed<Rpm>{Rpm{100}, highest_speed(product)});
  if (const Node* expect = step.find("expect")) {
    MapReader map{*expect, complaints, "`expect`"};
    const auto band = [&](std::string_view key, Tolerance& into) {
      const Node* node = map.find(key);
      if (node && read_tolerance(*node, into, Volts{0.5}, complaints) && complaints.count() == before)
        check_ceiling(into, *node, spec, product, complaints);
    };
    band("band", spec.band);
    band("passive_band", spec.passive_band);
    map.may("rail_distance", spec.rail_distance, Allowed<Volts>{Volts{0.001}, Volts{0.5}});
    map.may("input", spec.input_band, Allowed<Volts>{Volts{0.0001}, Volts{1}});
  }
  if (complaints.count() == before) check_idle(spec, step.place("idle_speed"), product, complaints);
  return spec;
}

}  // namespace rig
