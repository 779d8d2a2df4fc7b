#include "rig/run/disturbance.hpp"

#include <algorithm>
#include <set>

#include <fmt/format.h>

#include "rig/compile/readings.hpp"

namespace rig {
namespace {

bool has_gap(const Slice& slice) {
  return std::any_of(slice.tracks.begin(), slice.tracks.end(), [](const TrackSlice& t) { return t.gap; });
}

bool of_the_rig(RigFlag::Kind kind) {
  switch (kind) {
    case RigFlag::Kind::saturated:
    case RigFlag::Kind::current_limited:
    case RigFlag::Kind::supply:
      return false;
    case RigFlag::Kind::gap:
    case RigFlag::Kind::interlock:
    case RigFlag::Kind::underrun:
    case RigFlag::Kind::clock:
    case RigFlag::Kind::board_error:
    case RigFlag::Kind::link:
      break;
  }
  return true;
}

std::string port_name(const Plan& plan, PortId port) {
  return index(port) < plan.bench.ports.size() ? plan.bench.ports[index(port)].name : "?";
}

std::string flag_in_words(const Plan& plan, const RigFlag& flag) {
  std::string text = flag.text;
  if (text.empty())
    text = flag.kind == RigFlag::Kind::current_limited ? "a source is at its current limit"
           : flag.kind == RigFlag::Kind::saturated     ? "a sense is at the end of its range"
                                                       : "a supply is not as it should be";
  if (flag.port) text += fmt::format(" (port '{}')", port_name(plan, *flag.port));
  return text;
}

/// The first input that did not settle, by its port's name.
std::string unsettled_input(const Plan& plan, const Segment& segment, const Slice& slice) {
  const auto* until = std::get_if<Until>(&segment.end);
  if (!until || slice.record.reason != SegmentEnd::timed_out) return {};
  for (std::size_t i = 0; i < until->conditions.size(); ++i) {
    const bool held = i < slice.record.settled.size() && slice.record.settled[i].has_value();
    if (until->conditions[i].module_output || held) continue;
    return port_name(plan, plan.capture.tracks[index(until->conditions[i].track)].port);
  }
  return {};
}

struct Supply {
  std::string name;
  PortId source;
  TrackId track;
  Volts lowest, highest;
};

std::vector<Supply> supplies_of(const Plan& plan) {
  const auto& product = *plan.scenario.product;
  std::vector<Supply> supplies{
      {"the battery", plan.bench.wiring.battery, plan.tracks.battery, product.battery.lowest, product.battery.highest}};
  for (std::size_t i = 0; i < std::min(product.rails.size(), plan.tracks.rails.size()); ++i) {
    const auto& rail = product.rails[i];
    if (const auto* wiring = plan.bench.wiring.rail(rail.name))
      supplies.push_back({rail.name, wiring->source, plan.tracks.rails[i].controller, rail.lowest, rail.highest});
  }
  return supplies;
}

/// Whether the bench itself breaks wires or joins them here: a source at its limit or a sense at its range's end is
/// then its own doing, whatever else went wrong.
bool does_something_to_wires(const Plan& plan, const Segment& segment) {
  const auto& wiring = plan.bench.wiring;
  std::set<PortId> relays;
  const auto take = [&](const std::optional<PortId>& relay) {
    if (relay) relays.insert(*relay);
  };
  take(wiring.ground.break_relay);
  for (const auto& line : wiring.lines) take(line.fault_switch);
  for (const auto& wire : wiring.faults.wires) take(wire.break_relay), take(wire.to_bus);
  return std::any_of(segment.events.begin(), segment.events.end(), [&](const Event& event) {
    const auto* relay = std::get_if<SetRelay>(&event.action);
    return relay && relays.contains(relay->port);
  });
}

std::string pulled_supply(const Plan& plan, const Slice& slice, const Scales& scales, const OutputsAsked& asked) {
  const Readings readings{plan.bench, slice, scales};
  for (const auto& supply : supplies_of(plan)) {
    const auto volts = asked.volts(supply.source);
    if (!volts || *volts < supply.lowest || *volts > supply.highest) continue;
    const auto reading = readings.at_end(supply.track, plan.scenario.product->timing.settle_window);
    if (reading.bins == 0) continue;
    if (reading.value + reading.uncertainty >= supply.lowest.value() &&
        reading.value - reading.uncertainty <= supply.highest.value())
      continue;
    return fmt::format("{} is asked for {:.2f} V and reads {:.2f} V", supply.name, volts->value(), reading.value);
  }
  return {};
}

}  // namespace

void OutputsAsked::follow(const Segment& segment) {
  for (const auto& event : segment.events) {
    if (const auto* set = std::get_if<SetOutput>(&event.action)) states_[set->port] = set->to;
    if (const auto* ramp = std::get_if<RampOutput>(&event.action)) states_[ramp->port] = ramp->to;
  }
}

std::optional<Volts> OutputsAsked::volts(PortId port) const {
  const auto found = states_.find(port);
  if (found == states_.end()) return std::nullopt;
  const auto* volts = std::get_if<Volts>(&found->second);
  return volts ? std::optional{*volts} : std::nullopt;
}

Cause behind_void(const Plan& plan, const Segment& segment, const Slice& slice, const Scales& scales,
                  const OutputsAsked& asked) {
  const bool rig =
      has_gap(slice) || slice.record.reason == SegmentEnd::stopped ||
      std::any_of(slice.flags.begin(), slice.flags.end(), [](const RigFlag& flag) { return of_the_rig(flag.kind); });
  if (rig) return {Behind::rig, {}};
  if (does_something_to_wires(plan, segment)) return {};
  if (!slice.flags.empty()) return {Behind::unit, flag_in_words(plan, slice.flags.front())};
  if (const auto port = unsettled_input(plan, segment, slice); !port.empty())
    return {Behind::unit, fmt::format("the input at '{}' does not settle", port)};
  if (auto pulled = pulled_supply(plan, slice, scales, asked); !pulled.empty())
    return {Behind::unit, std::move(pulled)};
  return {};
}

Segment with_speed_line_at_rest(const Plan& plan, Segment segment) {
  const auto& wiring = plan.bench.wiring.speed;
  auto first = [&](const std::optional<PortId>& port, Volts to) {
    if (port) segment.events.insert(segment.events.begin(), {Nanoseconds{0}, SetOutput{*port, to}});
  };
  first(wiring.pull_up_supply, plan.scenario.product->speed.pull_up_to);
  first(wiring.foot, Volts{0});
  return segment;
}

bool sense_at_its_end(const Slice& slice) {
  return std::any_of(slice.flags.begin(), slice.flags.end(),
                     [](const RigFlag& flag) { return flag.kind == RigFlag::Kind::saturated; });
}

bool well_alone(const Segment& segment, const Slice& slice) {
  if (has_gap(slice) || !slice.flags.empty()) return false;
  const auto* until = std::get_if<Until>(&segment.end);
  if (!until) return true;
  return slice.record.reason != SegmentEnd::timed_out &&
         2 * (slice.record.end - slice.record.start) <= until->time_out + until->not_before;
}

}  // namespace rig
