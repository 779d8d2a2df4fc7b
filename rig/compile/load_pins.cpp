#include <algorithm>
#include <map>

#include "rig/compile/load_parts.hpp"

/// A module's connectors: every pin, what it carries, and the pins beside it, since any of them may be shorted to it.
namespace rig {

using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

constexpr std::size_t kMostPins = 128;

/// As a drawing has it: letters, digits, '-' and '_'.
bool read_pin_name(const Node& node, std::string& into, PlacedComplaints& complaints) {
  std::string text;
  if (!yaml::read_text(node, text, complaints)) return false;
  const bool good =
      text.size() <= 16 && std::all_of(text.begin(), text.end(), [](char c) {
        return (c >= 'a' && c <= 'z') || (c >= 'A' && c <= 'Z') || (c >= '0' && c <= '9') || c == '-' || c == '_';
      });
  if (!good) {
    complaints.add(node.place, fmt::format("{} is no name of a pin", yaml::describe(node)),
                   "Use letters, digits, '-' and '_', 16 at most");
    return false;
  }
  return into = std::move(text), true;
}

/// A pin, and where it names each of its neighbours.
struct PlacedPin {
  Pin pin;
  yaml::Place place;
  std::vector<yaml::Place> neighbours;
};

PlacedPin read_pin(const Node& node, ConnectorSide side, std::size_t number, PlacedComplaints& complaints) {
  PlacedPin one{{{}, side, {}, {}}, node.place, {}};
  MapReader map{node, complaints, fmt::format("pin {}", number + 1)};
  if (const Node* name = map.need("pin", "S1")) {
    read_pin_name(*name, one.pin.name, complaints);
    one.place = name->place;
  }
  map.need_name("carries", one.pin.carries, "rail_5v");
  const Node* list = map.find("next_to");
  if (!list) return one;
  for (const Node& item : yaml::items(*list, 0, 8, "`next_to`", complaints)) {
    std::string name;
    if (!read_pin_name(item, name, complaints)) continue;
    one.pin.next_to.push_back(std::move(name));
    one.neighbours.push_back(item.place);
  }
  return one;
}

bool says(const Pin& pin, const std::string& neighbour) {
  return std::find(pin.next_to.begin(), pin.next_to.end(), neighbour) != pin.next_to.end();
}

void check_neighbours(const std::map<std::string, PlacedPin>& pins, PlacedComplaints& complaints) {
  for (const auto& [name, one] : pins) {
    for (std::size_t i = 0; i < one.pin.next_to.size(); ++i) {
      const std::string& neighbour = one.pin.next_to[i];
      const auto found = pins.find(neighbour);
      if (found == pins.end() || found->second.pin.side != one.pin.side) {
        std::vector<std::string> known;
        for (const auto& [other, its] : pins)
          if (its.pin.side == one.pin.side && other != name) known.push_back(other);
        complaints.add(one.neighbours[i], fmt::format("'{}': no such pin in this connector", neighbour),
                       yaml::suggest(neighbour, known));
      } else if (neighbour == name) {
        complaints.add(one.neighbours[i], fmt::format("pin '{}' is said to be next to itself", name),
                       "Name the pins beside it");
      } else if (!says(found->second.pin, name)) {
        complaints.add(one.neighbours[i],
                       fmt::format("pin '{}' is next to '{}', but '{}' is not said to be next to '{}'", name, neighbour,
                                   neighbour, name),
                       "Neighbours are so to each other: name it at both");
      }
    }
  }
}

}  // namespace

std::vector<Pin> read_connectors(const Node& node, PlacedComplaints& complaints) {
  const std::size_t before = complaints.count();
  std::vector<Pin> pins;
  std::map<std::string, PlacedPin> by_name;
  MapReader map{node, complaints, "the connectors"};
  for (const auto& [key, side] :
       {std::pair{"sensor_side", ConnectorSide::sensor}, {"controller_side", ConnectorSide::controller}}) {
    const Node* list = map.need(key, "[{pin: S1, carries: rail_5v, next_to: [S2]}, ...]");
    if (!list) continue;
    std::size_t number = 0;
    for (const Node& item : yaml::items(*list, 1, kMostPins, key, complaints)) {
      PlacedPin one = read_pin(item, side, number++, complaints);
      if (!one.pin.name.empty() && !by_name.emplace(one.pin.name, one).second)
        complaints.add(one.place, fmt::format("pin '{}' is there twice", one.pin.name),
                       "Give each pin of the module its own name");
      pins.push_back(std::move(one.pin));
    }
  }
  if (complaints.count() == before) check_neighbours(by_name, complaints);
  return pins;
}

void check_pins(const Product& product, yaml::Place place, PlacedComplaints& complaints) {
  std::vector<std::string> through{"speed"};
  for (const PressureChannel& channel : product.pressures) through.push_back(channel.name);
  if (product.temperature) through.push_back(product.temperature->name);
  for (const Rail& rail : product.rails) through.push_back(rail.name);
  std::vector<std::string> controllers{"ground"};
  if (!product.straight_through) controllers.emplace_back("battery");
  if (product.bypass_request) controllers.push_back(product.bypass_request->line);
  std::vector<std::string> either{"unused", "sensor_ground", "ground"};
  if (product.service) either.emplace_back("service");

  const auto count = [&](const std::string& what, ConnectorSide side) {
    return std::count_if(product.pins.begin(), product.pins.end(),
                         [&](const Pin& pin) { return pin.carries == what && pin.side == side; });
  };
  const auto missing = [&](const std::string& what, std::string_view where) {
    complaints.add(place, fmt::format("no pin on the {} side carries '{}'", where, what),
                   "Add the pin, as the drawing has it");
  };
  for (const std::string& line : through) {
    for (const auto& [side, word] :
         {std::pair{ConnectorSide::sensor, "sensor"}, {ConnectorSide::controller, "controller"}}) {
      const auto pins = count(line, side);
      if (pins == 0) missing(line, word);
      if (pins > 1)
        complaints.add(place, fmt::format("{} pins on the {} side carry '{}'", pins, word, line), "Keep one of them");
    }
  }
  if (count("sensor_ground", ConnectorSide::sensor) == 0) missing("sensor_ground", "sensor");
  for (const std::string& line : controllers)
    if (count(line, ConnectorSide::controller) == 0) missing(line, "controller");
  if (product.service && count("service", ConnectorSide::sensor) + count("service", ConnectorSide::controller) == 0)
    complaints.add(place, "no pin carries 'service', and the product has a service port",
                   "Add the pin, or both of them");

  std::vector<std::string> known = through;
  known.insert(known.end(), controllers.begin(), controllers.end());
  known.insert(known.end(), either.begin(), either.end());
  for (const Pin& pin : product.pins) {
    if (std::find(known.begin(), known.end(), pin.carries) == known.end())
      complaints.add(place,
                     fmt::format("pin '{}' carries '{}', which the product does not have", pin.name, pin.carries),
                     yaml::suggest(pin.carries, known));
  }
}

}  // namespace rig
