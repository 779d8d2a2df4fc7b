#include <algorithm>

#include <fmt/format.h>

#include "rig/compile/claim_list.hpp"
#include "rig/compile/fault_plan.hpp"

/// What a bench must be able to do before a fault step may time a module on it.
namespace rig {
namespace {

std::string where(const ClaimList& list, const FaultCase& one) {
  if (one.pin.carries.empty()) return {};
  if (one.joined_to) return fmt::format("pins {}", wire_text(one));
  return list.pin(one.pin.carries, one.pin.side);
}

void check_conversation(const FaultSpec& step, const FaultCase& one, ClaimList& list) {
  if (one.kind != FaultKind::hang || !list.product.service) return;
  const auto pin = list.controller_pin("service");
  if (list.product.service->hang.empty())
    list.refuse(step.name, pin, "the product's file does not say what makes its program stand still",
                "Write it as `hang` under `service:`, or take the fault out");
  if (!(list.can.set_points & bit(SetPointKind::exchange)))
    list.refuse(step.name, pin, "the bench cannot hold a conversation", "Use a bench that can, or take the fault out");
}

/// The onset is what a pin shows, so the relay's travel must at least be known, and the deadline be longer than it.
void check_timing(const FaultSpec& step, const FaultCase& one, ClaimList& list) {
  for (const auto& change : ports_of(list.product, list.bench, one).come) {
    const auto& port = list.port(change.relay);
    if (port.travel <= one.owed.deadline.time) continue;
    list.refuse(step.name, where(list, one),
                fmt::format("relay '{}' takes up to {} ms to come to rest, and the reaction is due within {} ms",
                            port.name, port.travel.count() / 1'000'000, one.owed.deadline.time.count() / 1'000'000),
                "Wire a quicker relay here, or take the fault out");
  }
}

void check_range(const FaultSpec& step, const FaultCase& one, ClaimList& list) {
  const auto& source = list.port(list.bench.wiring.speed.source);
  const auto asked = fastest_of(one, list.product);
  if (asked.value() > source.high)
    list.refuse(step.name, list.sensor_pin("speed"),
                fmt::format("'{}' asks for {:g} rpm, and port '{}' reaches {:g} rpm", to_text(one.kind), asked.value(),
                            source.name, source.high),
                "Wire a port with a wider range here, or take the fault out");
}

/// A module that has fallen back joins the open wire to the controller: what the wire is drawn to must reach it through
/// that. Else the bench's own resistance would look like a sensor.
void check_open_end(const FaultSpec& step, const FaultCase& one, ClaimList& list) {
  const auto channel = find_pressure(list.product, one.pin.carries);
  const auto& bus = list.bench.wiring.faults;
  const auto& bias = one.end == OpenEnd::up ? bus.bias_up : bus.bias_down;
  if (!channel || one.pin.side != ConnectorSide::sensor || !bias || !one.end || *one.end == OpenEnd::disconnected)
    return;
  const auto& line = list.product.pressures[*channel];
  const double rail = line.curve.nominal_rail().value();
  const auto siemens = [](const std::optional<Ohms>& ohms) { return ohms ? 1 / ohms->value() : 0.0; };
  const double up = siemens(line.controller.pull_up), leak = 1 / list.product.wires.least_input.value();
  const double down = siemens(line.controller.pull_down), drawn = 1 / (bias->resistance.value() * (1 + bias->error));
  const bool to_rail = one.end == OpenEnd::up;
  const double reaches =
      to_rail ? rail * (up + drawn) / (up + drawn + down + leak) : rail * (up + leak) / (up + leak + down + drawn);
  if (to_rail ? reaches > line.rails.high.value() : reaches < line.rails.low.value()) return;
  list.refuse(
      step.name, where(list, one),
      fmt::format("an open wire drawn {} through {:g} ohm stands at {:.2f} V against the controller's input: no "
                  "sensor fault shows",
                  to_rail ? "up" : "down", bias->resistance.value(), reaches),
      "Put a smaller resistance into the bench's bias, or leave this `end` out");
}

}  // namespace

void check_fault_claims(const FaultSpec& step, ClaimList& list) {
  if (step.cases.empty())
    list.refuse(step.name, "", "none of what it asks for makes sense on this product", "Name wires that it has");
  for (const auto& one : step.cases) {
    const auto ports = ports_of(list.product, list.bench, one);
    if (!ports.missing.empty())
      list.refuse(step.name, where(list, one),
                  fmt::format("'{}' cannot be done: the bench has {}", to_text(one.kind), ports.missing),
                  "Add it under `faults:` in the bench's file, or take the fault out");
    if (list.scenario.purpose == Purpose::end_of_line && harm_of(one) == Harm::stress)
      list.refuse(
          step.name, where(list, one),
          fmt::format("'{}' may hurt the unit, and this scenario ends with one that is sold", to_text(one.kind)),
          "Move it to a scenario of purpose regression or trial");
    check_conversation(step, one, list);
    check_timing(step, one, list);
    check_range(step, one, list);
    check_open_end(step, one, list);
  }
}

}  // namespace rig
