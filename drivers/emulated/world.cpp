#include "drivers/emulated/world.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/noise.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

// The module's own wiring of a 5 V rail from the controller to the sensors, and what hangs on it there.
constexpr double kRailWire = 0.1, kRailLoad = 2500;  // ohm
constexpr double kRailShare = kRailLoad / (kRailLoad + kRailWire);

double tau_of(const rig::BenchSetup& setup, rig::PortId port) {
  return static_cast<double>(setup.ports[index(port)].settling.count());
}

double tau_of(const rig::BenchSetup& setup, const std::optional<rig::PortId>& port) {
  return port ? tau_of(setup, *port) : 0;
}

double standard_volts(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles) {
  double volts = setup.check_standard_value.value();
  if (!setup.perfect)
    volts += setup.check_standard_error.value() * Chance{setup.seed, "check standard", 0}.symmetric(0);
  const BenchTrouble* drift = find_trouble(troubles, "drifted_check_standard");
  return drift ? volts + drift->value : volts;
}

/// A product's line by its name. Nothing: the bench is wired for more channels than this product has.
std::optional<std::size_t> number_of(const rig::Product& product, const std::string& channel) {
  if (const auto pressure = rig::find_pressure(product, channel)) return pressure;
  if (product.temperature && product.temperature->name == channel) return product.pressures.size();
  return std::nullopt;
}

}  // namespace

World::World(const rig::BenchSetup& setup, std::shared_ptr<const rig::Product> product, UnitBuild build,
             const std::vector<BenchTrouble>& troubles, std::int64_t tick_ns)
    : setup_{setup},
      product_{std::move(product)},
      module_{*product_, std::move(build), setup.seed, tick_ns},
      speed_{product_->speed, tick_ns, tau_of(setup, setup.wiring.speed.sense_in)} {
  const rig::Wiring& wiring = setup.wiring;
  for (std::size_t i = 0; i < setup.ports.size(); ++i) {
    const auto port = static_cast<rig::PortId>(i);
    Output output;
    output.error = draw_error(setup, port, troubles);
    output.resolution = setup.ports[i].resolution;
    output.slew = setup.ports[i].slew_per_second;
    outputs_.push_back(output);
    const bool stuck = std::any_of(troubles.begin(), troubles.end(), [&](const BenchTrouble& trouble) {
      return trouble.name == "stuck_relay" && concerns(setup, trouble, port);
    });
    stuck_.push_back(stuck);
  }
  for (const rig::Rail& rail : product_->rails) {
    RailNet& made = rails_.emplace_back();
    made.wiring = wiring.rail(rail.name);
    if (!made.wiring) continue;
    made.net.set_tau(kSource, tau_of(setup, made.wiring->source));
    made.net.add_sense(tau_of(setup, made.wiring->sense_controller), {1, 0, 0});
    made.net.add_sense(tau_of(setup, made.wiring->sense_sensor), {});
  }
  line_at_.resize(product_->pressures.size() + (product_->temperature ? 1 : 0));
  for (const rig::LineWiring& line : wiring.lines) {
    const auto number = number_of(*product_, line.channel);
    if (!number) continue;  // its wires end at an empty connector
    Line& made = lines_.emplace_back(setup, line, *product_, *number, module_.build());
    if (const auto* rail = rails_[made.rail()].wiring) made.net().set_tau(kRail, tau_of(setup, rail->source));
    line_at_[*number] = &made;
  }
  battery_.set_tau(kSource, tau_of(setup, wiring.battery));
  battery_.add_sense(tau_of(setup, wiring.battery_sense), {1, 0, 0});
  current_.add_sense(tau_of(setup, wiring.battery_current), {1, 0, 0});
  standard_.drive(kSource).level = standard_volts(setup, troubles);
  standard_.add_sense(tau_of(setup, wiring.check_standard), {1, 0, 0});
  nothing_.add_sense(0, {});
  speed_.net().settle();

  pins_.rails.resize(product_->rails.size());
  pins_.lines.resize(line_at_.size());
  pins_.line_rails.resize(line_at_.size());
  seen_.assign(line_at_.size() + rails_.size() + 1, ~0u);
  targets_.assign(line_at_.size(), 0);
  switches_.isolator = !wiring.isolator;
  rewire(0);
}

SensePlace World::sense(rig::PortId port) {
  for (Line& line : lines_) {
    if (line.wiring().sense_in == port) return {&line.net(), line.sense_in()};
    if (line.wiring().sense_out == port) return {&line.net(), line.sense_out()};
  }
  for (RailNet& rail : rails_) {
    if (rail.wiring && rail.wiring->sense_controller == port) return {&rail.net, 0};
    if (rail.wiring && rail.wiring->sense_sensor == port) return {&rail.net, 1};
  }
  const rig::Wiring& wiring = setup_.wiring;
  if (wiring.battery_sense == port) return {&battery_, 0};
  if (wiring.battery_current == port) return {&current_, 0};
  if (wiring.check_standard == port) return {&standard_, 0};
  if (wiring.speed.sense_in == port) {
    speed_.watch_voltage();
    return {&speed_.net(), 0};
  }
  return {&nothing_, 0};
}

void World::advance(std::int64_t to) {
  for (;;) {
    const std::int64_t module = module_.next();
    if (!pending_.empty() && pending_.front().at < to && pending_.front().at <= module) {
      settle_pending();
    } else if (module < to) {
      run_module(module);
    } else {
      break;
    }
  }
  speed_.advance(to, switches_.isolator,
                 [this](std::uint64_t tick, rig::FixedAngle angle) { module_.take_falling_edge(tick, angle); });
}

void World::run_module(std::int64_t at) {
  speed_.advance(at, switches_.isolator,
                 [this](std::uint64_t tick, rig::FixedAngle angle) { module_.take_falling_edge(tick, angle); });
  read_pins(at);
  const bool worked = module_.working();
  const Module::Changes changes = module_.run(at, pins_);
  if (changes.outputs) drive_outputs(at);
  if (changes.current) {
    current_.advance(at);
    current_.drive(kSource).level = module_.current();
    current_.changed();
  }
  if (changes.contacts || worked != module_.working()) rewire(at);
}

/// Takes over a pin's voltage unless nothing about its net has changed since it was last read.
bool World::read_pin(double& pin, Net& net, std::uint32_t& version, double value) {
  version = net.version();
  if (pin == value) return false;
  pin = value;
  return true;
}

void World::read_pins(std::int64_t at) {
  static constexpr Mixture kDirect{1, 0, 0};
  bool moved = false;
  const bool fitted = switches_.isolator;
  const auto stale = [](const Net& net, std::uint32_t version) { return !net.quiet() || net.version() != version; };
  std::uint32_t* seen = seen_.data() + line_at_.size();
  for (std::size_t i = 0; i < rails_.size(); ++i, ++seen) {
    Net& net = rails_[i].net;
    if (stale(net, *seen)) moved |= read_pin(pins_.rails[i], net, *seen, fitted ? net.at_pin(kDirect, at) : 0);
  }
  if (stale(battery_, *seen)) read_pin(pins_.battery, battery_, *seen, fitted ? battery_.at_pin(kDirect, at) : 0);
  for (std::size_t i = 0; i < line_at_.size(); ++i) {
    Line* line = line_at_[i];
    if (!line || !(moved || stale(line->net(), seen_[i]))) continue;
    moved |= read_pin(pins_.lines[i], line->net(), seen_[i], line->module_pin(at));
    pins_.line_rails[i] = pins_.rails[line->rail()] * kRailShare;
  }
  pins_.bypass_requested = bypass_request_ && fitted;
  pins_.moved = moved;
}

void World::drive_outputs(std::int64_t at) {
  for (std::size_t i = 0; i < line_at_.size(); ++i) {
    if (!line_at_[i] || !module_.drives(i) || targets_[i] == module_.output(i)) continue;
    targets_[i] = module_.output(i);
    Net& net = line_at_[i]->net();
    net.advance(at);
    net.drive(kOutput).follow(targets_[i], 0, net.tau(kOutput));
    net.changed();
  }
}

/// Whatever joins or parts more than one line.
void World::rewire(std::int64_t at) {
  switches_.bypass = module_.bypass_closed();
  switches_.output = module_.output_connected();
  for (Line& line : lines_) rebuild(line, at);
  for (RailNet& rail : rails_) {
    if (!rail.wiring) continue;
    rail.net.advance(at);
    rail.net.mix(1, {switches_.isolator ? kRailShare : 0, 0, 0});
    rail.net.changed();
  }
  battery_.advance(at);
  battery_.changed();
  const bool regenerated = product_->speed.routing == rig::SpeedRouting::regenerated && module_.working();
  speed_.connect(switches_.isolator || switches_.loop_back, switches_.isolator && regenerated);
}

void World::rebuild(Line& line, std::int64_t at) {
  line.net().advance(at);
  line.rebuild(switches_);
}

}  // namespace drivers::emulated
