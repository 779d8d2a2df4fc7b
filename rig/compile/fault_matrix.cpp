#include "rig/compile/fault_matrix.hpp"

#include <algorithm>

#include <fmt/format.h>

namespace rig {
namespace {

bool is_ground(const FaultPin& pin) { return pin.carries == "ground" || pin.carries == "sensor_ground"; }
bool is_rail(const Product& product, const FaultPin& pin) {
  return std::any_of(product.rails.begin(), product.rails.end(),
                     [&](const Rail& rail) { return rail.name == pin.carries; });
}
bool is_pressure(const Product& product, const FaultPin& pin) {
  return find_pressure(product, pin.carries).has_value();
}
bool is_temperature(const Product& product, const FaultPin& pin) {
  return product.temperature && product.temperature->name == pin.carries;
}

std::string senseless_join(const Product& product, const FaultPin& a, const FaultPin& b) {
  for (const auto& pin : {a, b})
    if (pin.carries == "unused" || pin.carries == "service")
      return fmt::format("would join '{}', which carries nothing that the module's outputs depend on", pin.carries);
  if (is_ground(a) && is_ground(b)) return "joins a ground to a ground";
  if ((is_ground(a) && b.carries == "battery") || (is_ground(b) && a.carries == "battery"))
    return "shorts the battery to ground: only the bench's own current limit would be tested";
  if (a.carries == b.carries) return fmt::format("joins {} to itself", a.carries);
  if (a.side != b.side) return "joins pins of two connectors";
  if ((is_ground(a) && is_rail(product, b)) || (is_ground(b) && is_rail(product, a)))
    return "shorts a 5 V rail to ground: only the bench's own current limit would be tested";
  return {};
}

std::string senseless_short(const Product& product, FaultKind kind, const FaultPin& pin) {
  if (kind == FaultKind::short_to_ground) {
    if (is_ground(pin)) return "shorts a ground to ground";
    if (pin.carries == "battery" || is_rail(product, pin))
      return fmt::format("shorts {} to ground: only the bench's own current limit would be tested", pin.carries);
  } else if (kind == FaultKind::short_to_reference) {
    if (is_ground(pin)) return "shorts a 5 V rail to ground: only the bench's own current limit would be tested";
    if (is_rail(product, pin)) return "joins a 5 V rail to a 5 V rail";
    if (pin.carries == "battery") return "puts the battery's voltage on the sensors' 5 V rail through the bench";
  } else {
    if (is_ground(pin)) return "shorts the battery to ground: only the bench's own current limit would be tested";
    if (pin.carries == "battery") return "joins the battery to itself";
  }
  return {};
}

}  // namespace

std::vector<FaultPin> pins_of(const Product& product) {
  std::vector<FaultPin> pins;
  for (const auto& pin : product.pins) pins.push_back({pin.carries, pin.side, pin.name});
  if (!pins.empty()) return pins;
  std::vector<std::string> through{"speed"};
  for (const auto& channel : product.pressures) through.push_back(channel.name);
  if (product.temperature) through.push_back(product.temperature->name);
  for (const auto& rail : product.rails) through.push_back(rail.name);
  for (const auto& wire : through)
    for (const auto side : {ConnectorSide::sensor, ConnectorSide::controller}) pins.push_back({wire, side});
  pins.push_back({"sensor_ground", ConnectorSide::sensor});
  for (const auto* wire : {"battery", "ground"}) pins.push_back({wire, ConnectorSide::controller});
  if (product.bypass_request) pins.push_back({product.bypass_request->line, ConnectorSide::controller});
  return pins;
}

std::vector<std::pair<FaultPin, FaultPin>> neighbours_of(const Product& product, ConnectorSide side) {
  std::vector<std::pair<FaultPin, FaultPin>> pairs;
  for (std::size_t i = 0; i < product.pins.size(); ++i) {
    const auto& one = product.pins[i];
    if (one.side != side) continue;
    for (std::size_t k = i + 1; k < product.pins.size(); ++k) {
      const auto& other = product.pins[k];
      if (std::find(one.next_to.begin(), one.next_to.end(), other.name) == one.next_to.end()) continue;
      pairs.push_back({{one.carries, side, one.name}, {other.carries, side, other.name}});
    }
  }
  return pairs;
}

std::string senseless(const Product& product, const FaultCase& one) {
  const auto& pin = one.pin;
  switch (one.kind) {
    case FaultKind::joined:
      return one.joined_to ? senseless_join(product, pin, *one.joined_to) : "names no second pin";
    case FaultKind::short_to_ground:
    case FaultKind::short_to_reference:
    case FaultKind::short_to_battery:
      if (pin.carries == "unused" || pin.carries == "service")
        return fmt::format("is on '{}', which nothing the module puts out depends on", pin.carries);
      return senseless_short(product, one.kind, pin);
    case FaultKind::open:
    case FaultKind::worn:
    case FaultKind::intermittent:
      if (pin.carries == "unused" || pin.carries == "service")
        return fmt::format("is on '{}', which nothing the module puts out depends on", pin.carries);
      if (is_temperature(product, pin) && one.end == OpenEnd::down)
        return "drawn down looks like a sensor: a pull-up and the bench's resistance give a plausible temperature";
      if (one.kind != FaultKind::open && pin.side == ConnectorSide::sensor && (is_ground(pin) || is_rail(product, pin)))
        return "is on the sensors' supply or ground behind the module: ask for it as `open`";
      return {};
    case FaultKind::out_of_range:
      if (pin.side == ConnectorSide::sensor && (is_pressure(product, pin) || is_temperature(product, pin))) return {};
      return fmt::format("is a sensor's own fault, and {} comes from no sensor", pin.carries);
    case FaultKind::frozen:
    case FaultKind::jump:
      if (pin.side == ConnectorSide::sensor && is_pressure(product, pin)) return {};
      return fmt::format("is a pressure sensor's own fault, and {} comes from none", pin.carries);
    case FaultKind::hang:
      return product.service ? "" : "needs a service port, which the product does not have";
    case FaultKind::disagree:
      return product.pressures.size() == 2 ? "" : "needs two pressures, and the product has one";
    case FaultKind::doubled_edges:
      if (one.at.speed * 2 <= product.speed.highest) return {};
      return fmt::format("asks for {:g} rpm, and the product need not cope with more than {:g} rpm",
                         2 * one.at.speed.value(), product.speed.highest.value());
    case FaultKind::lost_edges:
    case FaultKind::over_speed:
      return {};
  }
  return {};
}

std::vector<std::size_t> sensors_behind(const Product& product, const FaultCase& one) {
  std::vector<std::size_t> sensors;
  if (one.kind != FaultKind::open || one.pin.side != ConnectorSide::sensor) return sensors;
  const auto takes = [&](std::size_t rail) {
    return is_ground(one.pin) || product.rails[rail].name == one.pin.carries;
  };
  for (std::size_t c = 0; c < product.pressures.size(); ++c)
    if (takes(product.pressures[c].rail)) sensors.push_back(c);
  // A thermistor has no supply of its own: it hangs between its line and ground.
  if (product.temperature && is_ground(one.pin)) sensors.push_back(product.pressures.size());
  return sensors;
}

}  // namespace rig
