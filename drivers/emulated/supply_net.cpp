#include "drivers/emulated/supply_net.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/instrument.hpp"

namespace drivers::emulated {
namespace {

constexpr double kOwnDraw = 2500;  // ohm that the module puts on its first rail, a few milliamperes
constexpr double kTakes = 0.001;   // A that a supply takes back which cannot sink: its own divider. Common practice

double contact(const rig::BenchSetup& setup, const std::optional<rig::PortId>& relay) {
  return relay ? setup.ports[index(*relay)].resistance.value() : 0;
}

/// Siemens with which a sense loads its place.
double load_of(const rig::BenchSetup& setup, rig::PortId sense, const std::vector<BenchTrouble>& troubles) {
  const double ohms = setup.ports[index(sense)].resistance.value();
  return ohms > 0 && !is_opened(setup, sense, troubles) ? 1 / ohms : 0;
}

}  // namespace

SupplyNet::SupplyNet(const rig::BenchSetup& setup, const rig::Product& product, const UnitBuild& build,
                     const std::vector<BenchTrouble>& troubles)
    : setup_{setup} {
  net_.set_moving(kSupplyDrivers);
  const auto add_sense = [&](const std::optional<rig::PortId>& port) {
    senses_.push_back(port);
    net_.add_sense(port ? static_cast<double>(setup.ports[index(*port)].settling.count()) : 0, {});
  };
  for (std::size_t i = 0; i < product.rails.size(); ++i) {
    const std::string& name = product.rails[i].name;
    const rig::RailWiring* wiring = setup.wiring.rail(name);
    wiring_.push_back(wiring);
    fit_supply(wiring ? std::optional{wiring->source} : std::nullopt);
    back_feed_.push_back(0);
    sensors_closed_.push_back(wiring && !wiring->sensor_load);
    RailNetwork& rail = circuit_.rails.emplace_back();
    if (i == 0 && !product.straight_through) rail.own_draw = 1 / kOwnDraw;
    if (!build.rails[i].open) rail.copper = build.rails[i].ohms;
    rail.contact_out = contact_ohms(setup, name, PinSide::sensor, troubles);
    contact_ohms_.push_back(contact(setup, setup.wiring.isolator) +
                            contact_ohms(setup, name, PinSide::controller, troubles));
    sensors_ohms_.push_back(0);
    add_sense(wiring ? std::optional{wiring->sense_controller} : std::nullopt);
    add_sense(wiring ? std::optional{wiring->sense_sensor} : std::nullopt);
    if (!wiring) continue;
    net_.set_tau(driver(i), source_tau(setup, wiring->source, troubles));
    rail.sense_controller_load = load_of(setup, wiring->sense_controller, troubles);
    rail.sense_sensor_load = load_of(setup, wiring->sense_sensor, troubles);
    rail.leakage = draw_leakage(setup, wiring->source) + draw_leakage(setup, wiring->sense_controller);
    if (wiring->sensor_load && wiring->sensor_load->is.pull_down) {
      sensors_ohms_[i] = load_ohms(setup, *wiring->sensor_load, wiring->sensor_load->is.pull_down->value(), 0) +
                         contact(setup, wiring->sensor_load->relay);
    }
  }
  circuit_.cross_feed = build.cross_feed;
  add_sense(setup.wiring.ground.sense);
  ground_ohms_ = build.ground_ohms + contact_ohms(setup, "ground", PinSide::controller, troubles);
  fit_supply(setup.wiring.battery);
  supplies_.back().driven = true;  // off is 0 V: it discharges what hangs on it
  net_.set_tau(kBattery, source_tau(setup, setup.wiring.battery, troubles));
  add_sense(setup.wiring.battery_sense);
  add_sense(setup.wiring.battery_current);
  circuit_.battery.sense_load = load_of(setup, setup.wiring.battery_sense, troubles);
  set_wires(FaultBus{setup});
  rebuild();
}

void SupplyNet::fit_supply(const std::optional<rig::PortId>& port) {
  Supply& supply = supplies_.emplace_back();
  supply.port = port;
  if (!port) return;
  const rig::Port& p = setup_.ports[index(*port)];
  supply.ohms = p.resistance.value();
  supply.port_limit = p.current_limit.value();
  supply.sinks = p.sinks;
  limit_supply(*port, 0);
}

std::optional<std::size_t> SupplyNet::sense(rig::PortId port) const {
  const auto found = std::find(senses_.begin(), senses_.end(), std::optional{port});
  if (found == senses_.end()) return std::nullopt;
  return static_cast<std::size_t>(found - senses_.begin());
}

bool SupplyNet::set_back_feed(std::size_t rail, double siemens) {
  constexpr double kSame = 1e-12;
  if (std::abs(back_feed_[rail] - siemens) < kSame) return false;
  back_feed_[rail] = siemens;
  return true;
}

bool SupplyNet::set_relay(rig::PortId relay, bool closed) {
  bool any = false;
  for (std::size_t i = 0; i < rails(); ++i) {
    if (!wiring_[i] || !wiring_[i]->sensor_load || wiring_[i]->sensor_load->relay != relay) continue;
    sensors_closed_[i] = closed;
    any = true;
  }
  return any;
}

void SupplyNet::set_wires(const FaultBus& faults) {
  for (std::size_t i = 0; i < rails(); ++i) {
    if (wiring_[i]) circuit_.rails[i].feed.wire = faults.wire(wiring_[i]->rail, rig::ConnectorSide::controller);
  }
  circuit_.battery.feed.wire = faults.wire("battery", rig::ConnectorSide::controller);
  ground_wire_ = faults.wire("ground", rig::ConnectorSide::controller);
}

bool SupplyNet::limit_supply(rig::PortId port, double amperes) {
  for (Supply& supply : supplies_) {
    if (supply.port != port) continue;
    const double own = supply.port_limit;
    supply.limit.most_gives = own > 0 && amperes > 0 ? std::min(own, amperes) : std::max(own, amperes);
    supply.limit.most_takes = supply.sinks ? supply.limit.most_gives : kTakes;
    return true;
  }
  return false;
}

void SupplyNet::feed(const Supply& supply, double back_feed, SupplyFeed& feed) const {
  feed.source = std::nullopt;
  feed.limited = std::nullopt;
  if (supply.driven) {
    feed.source = supply.ohms;
    if (supply.limit.reached()) feed.limited = supply.limit.amperes();
  } else if (back_feed > 0) {
    feed.source = 1 / back_feed;
  }
}

void SupplyNet::rebuild() {
  for (std::size_t i = 0; i < rails(); ++i) {
    RailNetwork& rail = circuit_.rails[i];
    if (!supplies_[i].driven) supplies_[i].limit.set(CurrentLimit::State::none, false, net_.now());
    feed(supplies_[i], joiner_ ? 0 : back_feed_[i], rail.feed);
    rail.contact_in = isolator_ ? std::optional{contact_ohms_[i]} : std::nullopt;
    rail.sensors = sensors_closed_[i] && sensors_ohms_[i] > 0 ? std::optional{sensors_ohms_[i]} : std::nullopt;
  }
  feed(supplies_.back(), 0, circuit_.battery.feed);
  circuit_.battery.draws = circuit_.battery.feed.wire.has_value();
  circuit_.ground = ground_wire_ ? std::optional{ground_ohms_ + *ground_wire_} : std::nullopt;
  if (joiner_) {
    joiner_->solve_together();
  } else {
    take(solve(circuit_));
  }
}

void SupplyNet::join(Joiner* joiner) {
  joiner_ = joiner;
  net_.set_moving(joiner ? kMovingDrivers : kSupplyDrivers);
  if (joiner) return;
  for (Supply& supply : supplies_) supply.limit.set(CurrentLimit::State::none, supply.sinks, net_.now());
}

void SupplyNet::take(SolvedCircuit solved) {
  solved_ = std::move(solved);
  controller_pins_.clear(), sensor_pins_.clear();
  for (std::size_t i = 0; i < rails(); ++i) {
    controller_pins_.push_back(sum(solved_.rails[i].module_controller, solved_.ground, -1));
    sensor_pins_.push_back(sum(solved_.rails[i].module_sensor, solved_.ground, -1));
    net_.mix(2 * i, solved_.rails[i].controller);
    net_.mix(2 * i + 1, solved_.rails[i].sensor);
  }
  net_.mix(2 * rails(), solved_.ground);
  net_.mix(2 * rails() + 1, solved_.battery);
  const CurrentLimit& limit = supplies_.back().limit;
  net_.mix(2 * rails() + 2, limit.reached() ? only(kOne, limit.amperes()) : amperes(rails()));
  net_.changed();
  if (joiner_) {
    net_.guard(make_guards(guarded_), this);
  } else {
    net_.guard({}, this);
  }
}

/// What a supply gives while it is not at its limit.
Mixture SupplyNet::amperes(std::size_t supply) const {
  const bool battery = supply == rails();
  Mixture amperes = sum(only(battery ? kBattery : driver(supply)),
                        battery ? solved_.battery_supply : solved_.rails[supply].supply, -1);
  for (double& weight : amperes) weight /= std::max(supplies_[supply].ohms, 0.001);
  return amperes;
}

std::vector<Guard> SupplyNet::make_guards(std::vector<std::size_t>& of) const {
  std::vector<Guard> guards;
  of.clear();
  const auto add = [&](std::size_t supply, const Mixture& weights, double level) {
    guards.push_back({weights, level});
    of.push_back(supply);
  };
  for (std::size_t i = 0; i < supplies_.size(); ++i) {
    const CurrentLimit& limit = supplies_[i].limit;
    if (!supplies_[i].driven || limit.most_gives <= 0) continue;
    const Mixture gives = amperes(i), takes = sum({}, gives, -1);
    using State = CurrentLimit::State;
    if (limit.state() != State::takes) {
      limit.reached() ? add(i, takes, -limit.most_gives) : add(i, gives, limit.most_gives);
    }
    if (limit.state() != State::gives) {
      limit.reached() ? add(i, gives, -limit.most_takes) : add(i, takes, limit.most_takes);
    }
  }
  return guards;
}

bool SupplyNet::change_piece() {
  const std::vector<Guard>& guards = net_.guards();
  for (std::size_t i = 0; i < guards.size(); ++i) {
    if (!(net_.above(guards[i]) > 0)) continue;
    using State = CurrentLimit::State;
    Supply& supply = supplies_[guarded_[i]];
    const Driver of = guarded_[i] == rails() ? kBattery : driver(guarded_[i]);
    const State next = supply.limit.reached() ? State::none : guards[i].weights[of] > 0 ? State::gives : State::takes;
    supply.limit.set(next, supply.sinks, net_.now());
    feed(supply, 0, of == kBattery ? circuit_.battery.feed : circuit_.rails[guarded_[i]].feed);
    return true;
  }
  return false;
}

void SupplyNet::guard_passed() {
  if (joiner_) joiner_->find_pieces_together();
}

Line::Surroundings SupplyNet::surroundings(std::size_t rail) const {
  return {solved_.rails[rail].supply, solved_.rails[rail].module_controller, solved_.ground};
}

}  // namespace drivers::emulated
