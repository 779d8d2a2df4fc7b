#include <algorithm>
#include <cmath>

#include "rig/compile/load_reactions.hpp"
#include "rig/compile/script.hpp"
#include "rig/core/quantity_text.hpp"

/// What a product promises when something breaks: its `reactions`, and what a scenario says otherwise of them.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

constexpr std::size_t kMostRules = 64;
constexpr Allowed<Nanoseconds> kTimes{1ms, 60s};

void read_output(const Node& node, OutputReaction& into, std::string_view key, PlacedComplaints& complaints) {
  if (node.kind == Node::Kind::map) {
    Volts level{};
    MapReader map{node, complaints, fmt::format("`{}`", key)};
    if (map.need("stand_at", level, Allowed<Volts>{Volts{0}, Volts{6}}, "0 V")) into = {OutputMust::stand_at, level};
    return;
  }
  OutputMust must{};
  if (yaml::read_choice(node, must,
                        {{"pass_through", OutputMust::pass_through},
                         {"follow_fault", OutputMust::follow_fault},
                         {"hold", OutputMust::hold},
                         {"keep_table", OutputMust::keep_table}},
                        key, complaints))
    into = {must, {}};
}

void read_deadline(const Node& node, Deadline& into, PlacedComplaints& complaints) {
  Deadline deadline;
  if (node.kind != Node::Kind::map) {
    if (yaml::read(node, deadline.time, kTimes, complaints)) into = deadline;
    return;
  }
  MapReader map{node, complaints, "`deadline`"};
  map.need("intervals", deadline.intervals, Allowed<double>{0, 100}, "3");
  map.need("time", deadline.time, kTimes, "50 ms");
  into = deadline;
}

void read_recovery(const Node& node, Recovery& into, PlacedComplaints& complaints) {
  if (node.kind == Node::Kind::scalar) {
    Recovering how{};
    if (yaml::read_choice(node, how, {{"never", Recovering::never}}, "recovery", complaints)) into = {how, {}};
    return;
  }
  MapReader map{node, complaints, "`recovery`"};
  const Node* itself = map.find("by_itself");
  const Node* latched = map.find("latched");
  if ((itself != nullptr) == (latched != nullptr)) {
    complaints.add(node.place, "a recovery is either by itself or latched",
                   "Write `recovery: {by_itself: 1 s}`, `recovery: {latched: 600 ms}` or `recovery: never`");
    return;
  }
  Recovery recovery{itself ? Recovering::by_itself : Recovering::latched, {}};
  if (yaml::read(itself ? *itself : *latched, recovery.within, kTimes, complaints)) into = recovery;
}

ReactionRule read_rule(const Node& node, std::size_t number, PlacedComplaints& complaints) {
  ReactionRule rule;
  MapReader map{node, complaints, fmt::format("reaction {}", number + 1)};
  if (const Node* faults = map.find("faults"))
    for (const Node& item : yaml::items(*faults, 1, 15, "`faults`", complaints))
      if (const auto kind = read_fault_kind(item, complaints)) rule.faults.push_back(*kind);
  if (const Node* wires = map.find("wires")) {
    for (const Node& item : yaml::items(*wires, 1, 32, "`wires`", complaints)) {
      std::string wire;
      if (yaml::read_name(item, wire, complaints)) rule.wires.push_back(std::move(wire));
    }
  }
  ConnectorSide side{};
  if (map.may_choice("side", side, {{"sensor", ConnectorSide::sensor}, {"controller", ConnectorSide::controller}}))
    rule.side = side;
  read_reaction(map, rule);
  return rule;
}

/// What a wire of the product may carry, for rules.
std::vector<std::string> known_wires(const Product& product) {
  std::vector<std::string> known{"speed", "battery", "ground", "sensor_ground"};
  for (const auto& channel : product.pressures) known.push_back(channel.name);
  if (product.temperature) known.push_back(product.temperature->name);
  for (const auto& rail : product.rails) known.push_back(rail.name);
  if (product.bypass_request) known.push_back(product.bypass_request->line);
  return known;
}

constexpr FaultKind kSensorLost[]{FaultKind::open, FaultKind::short_to_ground, FaultKind::short_to_reference,
                                  FaultKind::short_to_battery, FaultKind::out_of_range};

/// Whether a sensor's line no longer carries what the sensor says. Of wires that touch, ground, a rail and the battery
/// win over a sensor.
bool sensor_lost(const FaultCase& one, const FaultPin& pin) {
  if (pin.side != ConnectorSide::sensor) return false;
  if (!one.joined_to)
    return std::find(std::begin(kSensorLost), std::end(kSensorLost), one.kind) != std::end(kSensorLost);
  const auto& other = pin.carries == one.pin.carries ? one.joined_to->carries : one.pin.carries;
  return other == "ground" || other == "sensor_ground" || other == "battery" || other.starts_with("rail_");
}

/// What a controller would take for a sensor's word, as files say it; empty for everything else.
std::string valid_signal(const OutputReaction& own, const DiagnosticRails& rails) {
  if (own.must == OutputMust::hold) return "hold";
  if (own.must == OutputMust::keep_table) return "keep_table";
  if (own.must != OutputMust::stand_at || !own.level || *own.level < rails.low || *own.level > rails.high) return {};
  return fmt::format("stand_at {}", to_text(*own.level));
}

/// A product's rules must not hide a fault of any of its sensors, as they stand before a scenario says otherwise.
void check_hiding(const Product& product, const Node& list, PlacedComplaints& complaints) {
  for (const auto& channel : product.pressures) {
    for (const auto kind : kSensorLost) {
      FaultCase one;
      one.kind = kind, one.pin = {channel.name, ConnectorSide::sensor};
      const auto* rule = owed_for(product.reactions, one);
      if (!rule) continue;
      one.owed = *rule;
      const auto why = hides_fault(product, one);
      if (!why) continue;
      complaints.add(list.items[static_cast<std::size_t>(rule - product.reactions.data())].place, *why,
                     std::string{kShowTheFault});
      break;
    }
  }
}

}  // namespace

std::optional<FaultKind> read_fault_kind(const Node& node, PlacedComplaints& complaints) {
  if (node.kind == Node::Kind::refused) return std::nullopt;
  if (node.kind == Node::Kind::scalar)
    if (const auto kind = fault_kind_from_text(node.text)) return kind;
  std::vector<std::string> known;
  for (int k = 0; k <= static_cast<int>(FaultKind::disagree); ++k)
    known.emplace_back(to_text(static_cast<FaultKind>(k)));
  complaints.add(node.place, fmt::format("a fault cannot be {}", yaml::describe(node)),
                 yaml::suggest(node.kind == Node::Kind::scalar ? node.text : "", known));
  return std::nullopt;
}

void read_reaction(MapReader& map, ReactionRule& rule) {
  PlacedComplaints& complaints = map.complaints();
  if (const Node* own = map.find("own")) read_output(*own, rule.own, "own", complaints);
  if (const Node* others = map.find("others")) read_output(*others, rule.others, "others", complaints);
  if (const Node* deadline = map.find("deadline")) read_deadline(*deadline, rule.deadline, complaints);
  if (const Node* recovery = map.find("recovery")) read_recovery(*recovery, rule.recovery, complaints);
  map.may("longest_spike", rule.longest_spike, Allowed<Nanoseconds>{0ms, 1s});
  map.may_choice("harm", rule.harm, {{"harmless", Harm::harmless}, {"stress", Harm::stress}});
}

std::vector<ReactionRule> read_reactions(const Node& node, PlacedComplaints& complaints) {
  std::vector<ReactionRule> rules;
  for (const Node& item : yaml::items(node, 1, kMostRules, "the reactions", complaints))
    rules.push_back(read_rule(item, rules.size(), complaints));
  return rules;
}

std::optional<std::string> hides_fault(const Product& product, const FaultCase& one) {
  for (const auto* pin : {&one.pin, one.joined_to ? &*one.joined_to : nullptr}) {
    const auto channel = pin ? find_pressure(product, pin->carries) : std::nullopt;
    if (!channel || !sensor_lost(one, *pin)) continue;
    const auto shown = valid_signal(one.owed.own, product.pressures[*channel].rails);
    if (!shown.empty())
      return fmt::format("'{}' of {} would be met with '{}': a sensor's own fault must never be hidden",
                         to_text(one.kind), pin->carries, shown);
  }
  return std::nullopt;
}

Nanoseconds due_after(const Product& product, const FaultCase& one) {
  const auto slowest = one.during ? std::min(one.at.speed, one.during->to.speed) : one.at.speed;
  const auto interval = static_cast<double>(longest_interval(product.speed.wheel, slowest).count());
  return one.owed.deadline.time + Nanoseconds{std::llround(one.owed.deadline.intervals * interval)};
}

void check_reactions(const Product& product, const Node& list, PlacedComplaints& complaints) {
  const auto known = known_wires(product);
  for (std::size_t i = 0; i < product.reactions.size(); ++i)
    for (const auto& wire : product.reactions[i].wires)
      if (std::find(known.begin(), known.end(), wire) == known.end())
        complaints.add(list.items[i].place, fmt::format("'{}': no wire of this product carries it", wire),
                       yaml::suggest(wire, known));
  check_hiding(product, list, complaints);
}

}  // namespace rig
