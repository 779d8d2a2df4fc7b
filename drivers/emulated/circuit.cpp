#include "drivers/emulated/circuit.hpp"

#include <algorithm>
#include <cassert>

#include "drivers/emulated/equations.hpp"
#include "drivers/emulated/line_elements.hpp"

namespace drivers::emulated {
namespace {

enum RailNode : std::size_t { supply, controller, module_controller, module_sensor, sensor, kRailNodes };
constexpr std::size_t kMostRails = 2;
constexpr std::size_t kGround = kMostRails * kRailNodes, kBatterySupply = kGround + 1, kBatteryPin = kGround + 2;
constexpr std::size_t kAlone = kBatteryPin + 1;  // nodes that are always there
constexpr std::size_t kBus = kAlone, kRequest = kAlone + 1, kFirstLine = kAlone + 2;
constexpr std::size_t kIntoBus = kDrivers;  // the column of one ampere into the bus
using CircuitEquations = Equations<kFirstLine + kMostLines * kLineNodes, kDrivers + 1>;

std::size_t node_of_rail(std::size_t rail, RailNode node) { return rail * kRailNodes + node; }
std::size_t node_of_line(std::size_t line, LineNode node) { return kFirstLine + line * kLineNodes + node; }

/// Where a supply has no break its terminals are the pin itself: a join of no resistance would be one of a milliohm.
std::size_t terminals(const SupplyFeed& feed, std::size_t own, std::size_t pin) {
  return feed.wire && *feed.wire <= 0 ? pin : own;
}
std::size_t terminals_of_rail(const Circuit& n, std::size_t rail) {
  const std::size_t own = node_of_rail(rail, supply);
  return rail < n.rails.size() ? terminals(n.rails[rail].feed, own, node_of_rail(rail, controller)) : own;
}
std::size_t terminals_of_battery(const Circuit& n) { return terminals(n.battery.feed, kBatterySupply, kBatteryPin); }

Mixture mixture_of(const CircuitEquations& e, std::size_t node) {
  Mixture mixture{};
  for (std::size_t d = 0; d < kDrivers; ++d) mixture[d] = e.fed[node][d];
  return mixture;
}

/// A line's nodes among the others'.
struct LineAmongOthers {
  CircuitEquations& e;
  std::size_t line, rail, rail_supply;
  bool grounded;
  static double siemens(double ohms) { return CircuitEquations::siemens(ohms); }
  std::size_t at(std::size_t node) const { return node_of_line(line, static_cast<LineNode>(node)); }
  std::size_t column(Driver driver) const {
    return driver == kSource ? source_of(line) : driver == kOutput ? output_of(line) : driver;
  }
  void load(std::size_t node, double s) { e.load(at(node), s); }
  void join(std::size_t a, std::size_t b, const std::optional<double>& ohms) { e.join(at(a), at(b), ohms); }
  void feed(std::size_t node, Driver driver, const std::optional<double>& ohms) {
    e.feed(at(node), column(driver), ohms);
  }
  void inject(std::size_t node, Driver driver, double amperes) { e.inject(at(node), column(driver), amperes); }
  void to_rail(std::size_t node, const std::optional<double>& ohms) { e.join(at(node), rail_supply, ohms); }
  void to_module_rail(std::size_t node, const std::optional<double>& ohms) {
    e.join(at(node), node_of_rail(rail, module_controller), ohms);
  }
  /// What a line takes back through the module's ground is left out there: it comes out of the module's own supply.
  void to_ground(std::size_t node, double s) {
    e.load(at(node), s);
    if (grounded) e.g[at(node)][kGround] -= s;
  }
};

void put_feed(const SupplyFeed& feed, CircuitEquations& e, Driver driver, std::size_t terminals, std::size_t pin) {
  if (feed.limited) {
    e.inject(terminals, kOne, *feed.limited);
  } else {
    e.feed(terminals, driver, feed.source);
  }
  if (terminals != pin) e.join(terminals, pin, feed.wire);
}

void put_rails(const Circuit& n, CircuitEquations& e) {
  for (std::size_t i = 0; i < n.rails.size() && i < kMostRails; ++i) {
    const RailNetwork& rail = n.rails[i];
    const auto at = [i](RailNode node) { return node_of_rail(i, node); };
    put_feed(rail.feed, e, static_cast<Driver>(kRail + i), terminals_of_rail(n, i), at(controller));
    e.inject(at(controller), kOne, rail.leakage);
    e.load(at(controller), rail.sense_controller_load);
    e.join(at(controller), at(module_controller), rail.contact_in);
    e.join(at(module_controller), at(module_sensor), rail.copper);
    e.join(at(module_sensor), at(sensor), rail.contact_out);
    e.load(at(sensor), rail.sense_sensor_load);
    if (!n.ground) continue;
    if (rail.own_draw > 0) e.join(at(module_controller), kGround, 1 / rail.own_draw);
    e.join(at(sensor), kGround, rail.sensors);
  }
  if (n.rails.size() > 1) e.join(node_of_rail(0, module_controller), node_of_rail(1, module_controller), n.cross_feed);
  if (n.ground) {
    e.load(kGround, CircuitEquations::siemens(*n.ground));
    e.inject(kGround, kCurrent, 1);
  }
}

void put_battery(const Circuit& n, CircuitEquations& e) {
  put_feed(n.battery.feed, e, kBattery, terminals_of_battery(n), kBatteryPin);
  e.load(kBatteryPin, n.battery.sense_load);
  if (n.battery.draws) e.inject(kBatteryPin, kCurrent, -1);
}

void put_bus(const Circuit& circuit, CircuitEquations& e) {
  const BusNetwork& n = *circuit.bus;
  for (const auto& ohms : {n.ground, n.bias_down}) {
    if (ohms) e.load(kBus, CircuitEquations::siemens(*ohms));
  }
  e.join(kBus, terminals_of_rail(circuit, 0), n.reference);
  e.join(kBus, terminals_of_rail(circuit, 0), n.bias_up);
  e.join(kBus, terminals_of_battery(circuit), n.battery);
  for (std::size_t i = 0; i < n.lines.size(); ++i) {
    e.join(kBus, node_of_line(i, bench_in), n.lines[i].sensor);
    e.join(kBus, node_of_line(i, wire_out), n.lines[i].controller);
  }
  for (std::size_t i = 0; i < n.rails.size() && i < kMostRails; ++i) {
    e.join(kBus, node_of_rail(i, sensor), n.rails[i].sensor);
    e.join(kBus, node_of_rail(i, controller), n.rails[i].controller);
  }
  e.join(kBus, kBatteryPin, n.to_battery);
  e.join(kBus, kRequest, n.to_request);
  if (n.request_relay) e.load(kRequest, CircuitEquations::siemens(*n.request_relay));
  e.feed(kRequest, kOne, n.request_pull_up, 5);
  if (n.speed) e.feed(kBus, kOne, n.speed->ohms, n.speed->volts);
  e.inject(kBus, kIntoBus, 1);
}

}  // namespace

SolvedCircuit solve(const Circuit& n) {
  assert(n.lines.size() <= kMostLines);
  CircuitEquations e{n.bus ? kFirstLine + n.lines.size() * kLineNodes : kAlone};
  put_rails(n, e);
  put_battery(n, e);
  for (std::size_t i = 0; i < n.lines.size(); ++i) {
    put_elements(*n.lines[i].network,
                 LineAmongOthers{e, i, n.lines[i].rail, terminals_of_rail(n, n.lines[i].rail), n.ground.has_value()});
  }
  if (n.bus) put_bus(n, e);
  e.eliminate();

  SolvedCircuit solved;
  for (std::size_t i = 0; i < n.rails.size(); ++i) {
    const std::size_t rail = std::min(i, kMostRails - 1);
    const auto at = [&](RailNode node) { return mixture_of(e, node_of_rail(rail, node)); };
    solved.rails.push_back({mixture_of(e, terminals_of_rail(n, rail)), at(controller), at(module_controller),
                            at(module_sensor), at(sensor)});
  }
  solved.ground = mixture_of(e, kGround);
  solved.battery_supply = mixture_of(e, terminals_of_battery(n));
  solved.battery = mixture_of(e, kBatteryPin);
  if (!n.bus) return solved;
  for (std::size_t i = 0; i < n.lines.size(); ++i) {
    const auto at = [&](LineNode node) { return seen_by(i, mixture_of(e, node_of_line(i, node))); };
    SolvedLine& line = solved.lines.emplace_back();
    line.source_side = at(source_side), line.bench_in = at(bench_in), line.module_in = at(module_in);
    line.module_out = at(module_out), line.bench_out = at(bench_out);
  }
  solved.bus = mixture_of(e, kBus);
  solved.request = mixture_of(e, kRequest);
  solved.bus_ohms = e.fed[kBus][kIntoBus];
  return solved;
}

}  // namespace drivers::emulated
