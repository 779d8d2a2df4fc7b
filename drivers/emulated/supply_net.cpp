#include "drivers/emulated/supply_net.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/instrument.hpp"

namespace drivers::emulated {
namespace {

constexpr double kOwnDraw = 2500;  // ohm that the module puts on its first rail, a few milliamperes

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
  const auto add_sense = [&](const std::optional<rig::PortId>& port) {
    senses_.push_back(port);
    net_.add_sense(port ? static_cast<double>(setup.ports[index(*port)].settling.count()) : 0, {});
  };
  for (std::size_t i = 0; i < product.rails.size(); ++i) {
    const std::string& name = product.rails[i].name;
    const rig::RailWiring* wiring = setup.wiring.rail(name);
    wiring_.push_back(wiring);
    driven_.push_back(false);
    back_feed_.push_back(0);
    sensors_closed_.push_back(wiring && !wiring->sensor_load);
    RailNetwork& rail = network_.rails.emplace_back();
    if (i == 0 && !product.straight_through) rail.own_draw = 1 / kOwnDraw;
    if (!build.rails[i].open) rail.copper = build.rails[i].ohms;
    rail.contact_out = contact_ohms(setup, name, PinSide::sensor, troubles);
    contact_ohms_.push_back(contact(setup, setup.wiring.isolator) +
                            contact_ohms(setup, name, PinSide::controller, troubles));
    source_ohms_.push_back(wiring ? setup.ports[index(wiring->source)].resistance.value() : 0);
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
  network_.cross_feed = build.cross_feed;
  add_sense(setup.wiring.ground.sense);
  ground_ohms_ = build.ground_ohms + contact_ohms(setup, "ground", PinSide::controller, troubles) +
                 contact(setup, setup.wiring.ground.break_relay);
  rebuild();
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
  if (setup_.wiring.ground.break_relay == relay) {
    grounded_ = closed;
    any = true;
  }
  return any;
}

void SupplyNet::rebuild() {
  for (std::size_t i = 0; i < rails(); ++i) {
    RailNetwork& rail = network_.rails[i];
    rail.source = std::nullopt;
    if (driven_[i]) {
      rail.source = source_ohms_[i];
    } else if (back_feed_[i] > 0) {
      rail.source = 1 / back_feed_[i];
    }
    rail.contact_in = isolator_ ? std::optional{contact_ohms_[i]} : std::nullopt;
    rail.sensors = sensors_closed_[i] && sensors_ohms_[i] > 0 ? std::optional{sensors_ohms_[i]} : std::nullopt;
  }
  network_.ground = grounded_ ? std::optional{ground_ohms_} : std::nullopt;
  solved_ = solve(network_);
  controller_pins_.clear(), sensor_pins_.clear();
  for (std::size_t i = 0; i < rails(); ++i) {
    controller_pins_.push_back(sum(solved_.rails[i].module_controller, solved_.ground, -1));
    sensor_pins_.push_back(sum(solved_.rails[i].module_sensor, solved_.ground, -1));
    net_.mix(2 * i, solved_.rails[i].controller);
    net_.mix(2 * i + 1, solved_.rails[i].sensor);
  }
  net_.mix(2 * rails(), solved_.ground);
  net_.changed();
}

Line::Surroundings SupplyNet::surroundings(std::size_t rail) const {
  return {solved_.rails[rail].controller, solved_.rails[rail].module_controller, solved_.ground};
}

}  // namespace drivers::emulated
