// While the fault bus is in use: all nets in one. Each keeps its senses and follows every drive there is, so that
// whatever is joined to whatever stays exact in closed form; together they are carried from piece to piece.
#include <algorithm>
#include <cmath>

#include "drivers/emulated/equations.hpp"
#include "drivers/emulated/world.hpp"

namespace drivers::emulated {
namespace {

using rig::ConnectorSide;

// The module's bypass request pin: a pull-up to its own supply, and what it takes for a request. Common practice, no
// source.
constexpr double kRequestPullUp = 10e3, kRequestBelow = 1.5;
constexpr double kSameVolts = 1e-4, kSameOhms = 1e-6;  // what of the bus is nothing new to the speed line
constexpr double kLeastSiemens = 1e-9;                 // of whatever else is on the bus: less is nothing

}  // namespace

template <class F>
void World::each_net(F&& f) {
  for (Line& line : lines_) f(line.net());
  f(supply_.net());
}

/// One of the bench's own faults has been put on or taken off.
void World::rewire_faults(std::int64_t at) {
  for (Line& line : lines_) line.set_wires(faults_);
  supply_.net().advance(at);
  supply_.set_wires(faults_);
  request_made_ = faults_.wire("bypass_request", ConnectorSide::controller).has_value();
  if (faults_.in_use() != joined_) joined_ ? part_nets(at) : join_nets(at);
  speed_.set_wires(at, faults_);
  rewire_supplies(at);
  rewire(at);
}

void World::join_nets(std::int64_t at) {
  each_net([at](Net& net) { net.advance(at); });
  for (Line& line : lines_) line.join(this);
  supply_.join(this);
  joined_ = true;
  share_drives();
}

void World::part_nets(std::int64_t at) {
  each_net([at](Net& net) { net.advance(at); });
  joined_ = false;
  shown_.reset();
  speed_.set_bus(at, std::nullopt);
  for (Line& line : lines_) line.join(nullptr);
  supply_.join(nullptr);
}

/// Carries all nets to an instant, from one change of pieces to the next.
void World::keep_together(std::int64_t to) {
  while (joined_) {
    std::optional<std::int64_t> first;
    each_net([&](Net& net) {
      const auto passing = net.next_passing(to);
      if (passing && (!first || *passing < *first)) first = passing;
    });
    each_net([&](Net& net) { net.carry(first.value_or(to)); });
    if (!first) break;
    find_pieces_together();
  }
}

/// Every net follows every drive.
void World::share_drives() {
  if (!joined_) return;
  const Net& supply = supply_.net();
  for (std::size_t to = 0; to <= lines_.size(); ++to) {
    const bool of_supply = to == lines_.size();
    Net& net = of_supply ? supply_.net() : lines_[to].net();
    for (std::size_t from = 0; from < lines_.size(); ++from) {
      if (from == to) continue;
      const Net& line = lines_[from].net();
      // What this one calls the drives of line `from`: seen_by() changes its own with the first line's.
      const std::size_t as = !of_supply && from == 0 ? to : from;
      net.mirror(source_of(as), line.drive(kSource), line.tau(kSource));
      net.mirror(output_of(as), line.drive(kOutput), line.tau(kOutput));
    }
    if (!of_supply) {
      for (const Driver d : {kRail, kRailTwo, kBattery}) net.mirror(d, supply.drive(d), supply.tau(d));
    }
    net.changed();
  }
  find_pieces_together();
}

BusNetwork World::bus_network() const {
  BusNetwork bus;
  const FaultBus::Ties ties = faults_.ties();
  bus.ground = ties.ground, bus.reference = ties.reference, bus.battery = ties.battery;
  bus.bias_up = ties.bias_up, bus.bias_down = ties.bias_down;
  const auto joint = [&](std::string_view wire) {
    return BusNetwork::Joint{faults_.joint(wire, ConnectorSide::sensor),
                             faults_.joint(wire, ConnectorSide::controller)};
  };
  for (const Line& line : lines_) bus.lines.push_back(joint(line.wiring().channel));
  for (const rig::Rail& rail : product_->rails) bus.rails.push_back(joint(rail.name));
  bus.to_battery = faults_.joint("battery", ConnectorSide::controller);
  bus.to_request = faults_.joint("bypass_request", ConnectorSide::controller);
  const auto request = faults_.wire("bypass_request", ConnectorSide::controller);
  if (bypass_request_ && request) {
    bus.request_relay = *request + setup_.ports[index(*setup_.wiring.bypass_request)].resistance.value();
  }
  if (switches_.isolator) bus.request_pull_up = kRequestPullUp;
  if (speed_.on_bus()) {
    const SpeedNetwork::Pull speed = speed_.seen_from_bus();
    bus.speed = {speed.ohms, speed.volts};
  }
  return bus;
}

void World::solve_once() {
  Circuit circuit = supply_.circuit();
  circuit.bus = bus_network();
  circuit.battery.draws |= circuit.bus->to_battery && circuit.bus->battery;
  for (const Line& line : lines_) circuit.lines.push_back({&line.network(), line.rail()});
  SolvedCircuit solved = solve(circuit);
  for (std::size_t i = 0; i < lines_.size(); ++i) lines_[i].take(solved.lines[i], seen_by(i, solved.ground));
  supply_.take(std::move(solved));
}

/// True if anything has changed.
bool World::settle_pieces() {
  constexpr int kMostChanges = 24;  // each diode and limit may change twice before all fits; beyond that it is noise
  const auto change = [this] {
    return supply_.change_piece() ||
           std::any_of(lines_.begin(), lines_.end(), [](Line& l) { return l.change_piece(); });
  };
  int changes = 0;
  for (; changes < kMostChanges && change(); ++changes) solve_once();
  return changes > 0;
}

void World::solve_together() {
  if (!joined_ || solving_) return;
  solving_ = true;
  solve_once();
  settle_pieces();
  show_bus_to_speed();
  solving_ = false;
}

void World::find_pieces_together() {
  if (!joined_ || solving_) return;
  solving_ = true;
  if (settle_pieces()) show_bus_to_speed();
  solving_ = false;
}

/// The speed line plays by itself: it is told what the rest of the bus looks like whenever that has moved. While other
/// lines move it follows them from one of the module's samples to the next.
void World::show_bus_to_speed() {
  if (!speed_.on_bus()) return;
  const SolvedCircuit& solved = supply_.solved();
  const SpeedNetwork::Pull speed = speed_.seen_from_bus();
  const double all = 1 / solved.bus_ohms, own = 1 / std::max(speed.ohms, Equations<1, 1>::kLeastOhms);
  std::optional<SpeedNetwork::Pull> others;
  if (all - own > kLeastSiemens) {
    const double amperes = supply_.net().now_at_pin(solved.bus) * all - speed.volts * own;
    others = SpeedNetwork::Pull{1 / (all - own), amperes / (all - own)};
  }
  const auto same = [](const SpeedNetwork::Pull& a, const SpeedNetwork::Pull& b) {
    return std::abs(a.volts - b.volts) < kSameVolts && std::abs(a.ohms / b.ohms - 1) < kSameOhms;
  };
  if (others.has_value() == shown_.has_value() && (!others || same(*others, *shown_))) return;
  shown_ = others;
  speed_.set_bus(std::max(supply_.net().now(), speed_played_), others);
}

bool World::bypass_requested(std::int64_t at) {
  if (!joined_ || !faults_.joint("bypass_request", ConnectorSide::controller)) return bypass_request_ && request_made_;
  return supply_.net().at_pin(supply_.solved().request, at) < kRequestBelow;
}

}  // namespace drivers::emulated
