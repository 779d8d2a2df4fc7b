#include "drivers/emulated/world.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/climate.hpp"
#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/noise.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

constexpr double kFedBattery = 5;                // V, enough to feed a module whose ground is broken
constexpr double kInsideSupply = 5;              // V, of the supply inside a module
constexpr std::int64_t kShortLimit = 2'000'000;  // a source at its limit for less is not noticed
constexpr std::int64_t kClimateStep = 2'000'000'000;

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

/// What joins the bench's side of the speed line to the unit's pins.
SpeedLine::Contacts speed_contacts(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles) {
  const double isolator = setup.wiring.isolator ? setup.ports[index(*setup.wiring.isolator)].resistance.value() : 0;
  return {isolator + contact_ohms(setup, "speed", PinSide::sensor, troubles),
          isolator + contact_ohms(setup, "speed", PinSide::controller, troubles)};
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
      speed_{setup, *product_, module_.build().speed, module_.build().serial, speed_contacts(setup, troubles), tick_ns},
      service_{*product_, module_.build()},
      supply_{setup, *product_, module_.build(), troubles},
      faults_{setup},
      troubles_{troubles} {
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
    commanded_.push_back(closed_at_rest(wiring, port));
  }
  line_at_.resize(product_->pressures.size() + (product_->temperature ? 1 : 0));
  for (const rig::LineWiring& line : wiring.lines) {
    const auto number = number_of(*product_, line.channel);
    if (!number) continue;  // its wires end at an empty connector
    Line& made = lines_.emplace_back(setup, line, *product_, *number, module_.build(), troubles);
    for (std::size_t i = 0; i < supply_.rails(); ++i) {
      made.net().set_tau(SupplyNet::driver(i), supply_.net().tau(SupplyNet::driver(i)));
    }
    made.set_wires(faults_);
    line_at_[*number] = &made;
  }
  for (const WireBuild& wire : module_.build().wires) clamped_ = clamped_ || wire.clamp_ohms;
  if (lines_.size() > kMostLines) {
    throw rig::RigFault{"emulated bench " + setup.name,
                        product_->name + " has " + std::to_string(lines_.size()) + " lines, and its fault bus takes " +
                            std::to_string(kMostLines),
                        "Wire fewer lines"};
  }
  standard_.drive(kSource).level = standard_volts(setup, troubles);
  standard_.add_sense(tau_of(setup, wiring.check_standard), only(kSource));
  // Warmth moves far more slowly than its senses: their filters are left out, so that the nets stay at rest.
  room_.add_sense(0, only(kSource));
  fixture_.add_sense(0, only(kSource));
  if (wiring.ambient || wiring.fixture) set_climate(0);

  pins_.rails.resize(product_->rails.size());
  pins_.lines.resize(line_at_.size());
  pins_.line_rails.resize(line_at_.size());
  seen_.assign(line_at_.size() + 1, ~0u);
  targets_.assign(line_at_.size(), 0);
  switches_.isolator = !wiring.isolator;
  speed_.call_on_change([this](std::int64_t at) {
    if (!joined_ || solving_) return;
    speed_played_ = at;
    keep_together(at);
    solve_together();
  });
  speed_.set_wires(0, faults_);
  rewire_supplies(0);
  rewire(0);
}

SensePlace World::sense(rig::PortId port) {
  if (is_opened(setup_, port, troubles_)) {
    return {&opened_, opened_.add_sense(0, only(kOne, opened_volts(setup_, port)))};
  }
  for (Line& line : lines_) {
    if (line.wiring().sense_in == port) return {&line.net(), line.sense_in()};
    if (line.wiring().sense_out == port) return {&line.net(), line.sense_out()};
  }
  if (const auto sense = supply_.sense(port)) return {&supply_.net(), *sense};
  const rig::Wiring& wiring = setup_.wiring;
  if (wiring.check_standard == port) return {&standard_, 0};
  if (wiring.ambient == port) return {&room_, 0};
  if (wiring.fixture == port) return {&fixture_, 0};
  if (wiring.speed.sense_in == port || wiring.speed.sense_out == port) {
    speed_.watch_voltage();
    return {&speed_.net(), wiring.speed.sense_in == port ? SpeedLine::kSenseIn : SpeedLine::kSenseOut};
  }
  return {&opened_, opened_.add_sense(0, {})};
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
  play_speed(to);
  keep_together(to);
  service_.advance(to);
}

void World::play_speed(std::int64_t to) {
  speed_.advance(to);
  speed_.take_falls(to, [this](const SpeedLine::Fall& fall) { module_.take_falling_edge(fall.tick, fall.angle); });
}

void World::run_module(std::int64_t at) {
  play_speed(at);
  keep_together(at);
  read_pins(at);
  if (speed_.needs_rail()) speed_.set_rail(at, pins_.rails.front());
  if (clamped_) set_inside(at);
  if (joined_) show_bus_to_speed();
  const bool worked = module_.working();
  service_.advance(at);
  if (service_.take_hang()) module_.hang(at);
  const Module::Changes changes = module_.run(at, pins_);
  if (changes.outputs) drive_outputs(at);
  if (changes.current) set_current(at);
  if (worked != module_.working()) service_.set_alive(at, module_.working());
  if (changes.contacts || worked != module_.working()) rewire(at);
}

/// What the module draws comes out of the battery and goes back through its ground.
void World::set_current(std::int64_t at) {
  const auto draw = [&](Net& net, Driver which) {
    net.advance(at);
    net.drive(which).level = module_.current();
  };
  draw(supply_.net(), kCurrent);
  supply_.net().changed();
  for (Line& line : lines_) {
    draw(line.net(), kCurrent);
    changed(line);
  }
  find_pieces_together();
}

/// The supply inside the module follows the battery as far as it goes.
void World::set_inside(std::int64_t at) {
  const double inside = std::clamp(pins_.battery, 0.0, kInsideSupply);
  if (inside == inside_) return;
  inside_ = inside;
  for (Line& line : lines_) {
    line.net().advance(at);
    line.net().drive(kInside).level = inside;
    changed(line);
  }
  find_pieces_together();
}

void World::set_climate(std::int64_t at) {
  for (const bool fixture : {false, true}) {
    Net& net = fixture ? fixture_ : room_;
    net.advance(at);
    net.drive(kSource).level = fixture ? fixture_celsius(setup_.seed, at) : room_celsius(setup_.seed, at);
    if (at == 0) net.settle();
    net.changed();
  }
  schedule({at + kClimateStep, {}, Pending::What::climate});
}

/// Takes over a pin's voltage unless nothing about its net has changed since it was last read.
bool World::read_pin(double& pin, Net& net, std::uint32_t& version, double value) {
  version = net.version();
  if (pin == value) return false;
  pin = value;
  return true;
}

void World::read_pins(std::int64_t at) {
  bool moved = false;
  const bool powered = switches_.isolator && supply_.grounded();
  const auto stale = [](const Net& net, std::uint32_t version) { return !net.quiet() || net.version() != version; };
  std::uint32_t& supply_seen = seen_[line_at_.size()];
  Net& supply = supply_.net();
  if (stale(supply, supply_seen)) {
    pins_.battery = powered ? supply.at_pin(supply_.battery_pin(), at) : 0;
    for (std::size_t i = 0; i < pins_.rails.size(); ++i) {
      const double volts = powered ? supply.at_pin(supply_.controller_pin(i), at) : 0;
      moved |= read_pin(pins_.rails[i], supply, supply_seen, volts);
    }
    for (std::size_t i = 0; i < line_at_.size(); ++i) {
      if (!line_at_[i]) continue;
      const double volts = powered ? supply.at_pin(supply_.sensor_pin(line_at_[i]->rail()), at) : 0;
      moved |= read_pin(pins_.line_rails[i], supply, supply_seen, volts);
    }
  }
  for (std::size_t i = 0; i < line_at_.size(); ++i) {
    Line* line = line_at_[i];
    if (!line || !stale(line->net(), seen_[i])) continue;
    moved |= read_pin(pins_.lines[i], line->net(), seen_[i], line->module_pin(at));
  }
  pins_.bypass_requested = powered && bypass_requested(at);
  pins_.grounded = supply_.grounded();
  pins_.fed_anyway = !pins_.grounded && switches_.isolator && supply.at_pin(supply_.battery_pin(), at) > kFedBattery;
  pins_.moved = moved;
}

void World::drive_outputs(std::int64_t at) {
  for (std::size_t i = 0; i < line_at_.size(); ++i) {
    if (!line_at_[i] || !module_.drives(i) || targets_[i] == module_.output(i)) continue;
    targets_[i] = module_.output(i);
    Net& net = line_at_[i]->net();
    net.advance(at);
    net.drive(kOutput).follow(targets_[i], 0, net.tau(kOutput));
    changed(*line_at_[i]);
  }
  share_drives();
  feed_back(at);
}

/// Whatever joins or parts more than one line.
void World::rewire(std::int64_t at) {
  switches_.bypass = module_.bypass_closed();
  switches_.output = module_.output_connected();
  for (Line& line : lines_) rebuild(line, at);
  feed_back(at);
  play_speed(at);
  speed_.connect(at, {switches_.isolator, switches_.loop_back, module_.working()});
}

/// The rails' and the ground's own switches, as far as their nets go.
void World::rewire_supplies(std::int64_t at) {
  supply_.net().advance(at);
  supply_.set_isolator(switches_.isolator);
  supply_.rebuild();
  if (joined_) return;
  for (Line& line : lines_) {
    line.net().advance(at);
    line.set_surroundings(supply_.surroundings(line.rail()));
  }
}

void World::rebuild(Line& line, std::int64_t at) {
  line.net().advance(at);
  line.rebuild(switches_);
}

/// A 5 V rail that its supply has left open stands at what the lines' pull-ups give it.
void World::feed_back(std::int64_t at) {
  if (joined_) return;  // then that is in the one network
  for (std::size_t i = 0; i < supply_.rails(); ++i) {
    if (!supply_.open(i)) continue;
    double siemens = 0, amperes = 0, rise = 0;
    for (Line& line : lines_) {
      if (line.rail() != i || line.draws_from_rail() <= 0) continue;
      line.net().advance(at);
      siemens += line.draws_from_rail();
      amperes += line.feeds_rail();
      rise += line.feeds_rail_rise();
    }
    if (siemens > 0) drive_rail(at, i, amperes / siemens, rise / siemens);
    if (!supply_.set_back_feed(i, siemens)) continue;
    rewire_supplies(at);
    for (Line& line : lines_) rebuild(line, at);
  }
}

std::vector<rig::PortId> World::take_limited(std::int64_t now) {
  std::vector<rig::PortId> limited;
  for (Line& line : lines_) {
    if (line.take_longest_limited(now) >= kShortLimit) limited.push_back(line.wiring().source);
  }
  supply_.take_longest_limited(now, [&](rig::PortId port, std::int64_t longest) {
    if (longest >= kShortLimit) limited.push_back(port);
  });
  return limited;
}

}  // namespace drivers::emulated
