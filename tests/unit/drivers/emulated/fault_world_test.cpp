#include <random>

#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/world.hpp"
#include "tests/unit/drivers/emulated/fault_bench.hpp"

using namespace faulty;
using namespace drivers::emulated;

namespace {

/// The whole bench without a session around it, so that relays can be moved at any instant.
struct Bare {
  explicit Bare(std::vector<drivers::Defect> defects = {})
      : world{setup, product, build_unit(*product, "A00001", defects, true), {}, 100} {
    for (const char* name : {"speed_in", "speed_out"}) world.sense(port(number(setup, name)));
    for (const char* name : {"isolator", "load", "temperature_load"}) relay(name, true);
    set("battery", 13.8);
    set("rail", 5);
    set("second_rail", 5);
    set("charge_source", 2.2);
    set("manifold_source", 1.6);
    set("temperature_source", 2.5);
    world.apply(now, rig::SetSpeed{port(speed_source), {3'000'000, 0, {}}});
    run(500ms);
  }
  void relay(const std::string& name, bool closed) {
    world.apply(now, rig::SetRelay{port(number(setup, name)), closed});
  }
  void set(const std::string& name, double volts) {
    world.apply(now, rig::SetOutput{port(number(setup, name)), rig::Volts{volts}});
  }
  void run(rig::Nanoseconds length) {
    const std::int64_t end = now + length.count();
    while (now < end) world.advance(now = std::min<std::int64_t>(now + 1'000'000, end));
  }
  double read(const std::string& name) {
    const SensePlace place = world.sense(port(number(setup, name)));
    place.net->advance(now);
    return place.net->reading(place.sense);
  }
  std::vector<double> all() {
    std::vector<double> volts;
    for (const char* name : {"charge_in", "charge_out", "manifold_in", "manifold_out", "temperature_in",
                             "temperature_out", "rail_controller", "rail_sensor", "second_rail_controller",
                             "battery_sense", "battery_current", "ground_sense"}) {
      volts.push_back(read(name));
    }
    return volts;
  }

  rig::BenchSetup setup = fault_bench();
  std::shared_ptr<const rig::Product> product = std::make_shared<const rig::Product>(wired::product());
  World world;
  std::int64_t now = 0;
};

std::vector<std::string> fault_relays(const rig::BenchSetup& setup) {
  std::vector<std::string> names;
  for (std::size_t i = static_cast<std::size_t>(number(setup, "bus_ground")); i < setup.ports.size(); ++i) {
    if (setup.ports[i].kind == rig::PortKind::relay) names.push_back(setup.ports[i].name);
  }
  return names;
}

bool rests_closed(const rig::BenchSetup& setup, const std::string& name) {
  return drivers::emulated::closed_at_rest(setup.wiring, port(number(setup, name)));
}

}  // namespace

TEST_CASE("whatever faults have been put on and taken off, the bench is as before", "[emulated][fault_bus]") {
  Bare bare;
  const std::vector<std::string> relays = fault_relays(bare.setup);
  const std::vector<double> before = bare.all();
  std::mt19937 random{20250714};
  for (int round = 0; round < 12; ++round) {
    for (int fault = 0; fault < 5; ++fault) {
      const std::string& name = relays[random() % relays.size()];
      bare.relay(name, !rests_closed(bare.setup, name));
      bare.run(std::chrono::microseconds{random() % 9000});
      bare.set("charge_source", 1 + static_cast<double>(random() % 300) / 100);
    }
    bare.run(30ms);
    for (const double volts : bare.all()) {
      CHECK(volts > -1);
      CHECK(volts < 14);
    }
    for (const std::string& name : relays) bare.relay(name, rests_closed(bare.setup, name));
    bare.set("charge_source", 2.2);
    bare.run(900ms);
    const std::vector<double> after = bare.all();
    INFO("round " << round);
    for (std::size_t i = 0; i < before.size(); ++i) CHECK(after[i] == Approx(before[i]).margin(0.002));
  }
}

TEST_CASE("a bench made safe in the middle of a fault is at rest", "[emulated][fault_bus]") {
  Bare bare;
  for (const char* name : {"bus_battery", "charge_pressure_to_bus", "rail_5v_out_to_bus", "battery_out_to_bus"}) {
    bare.relay(name, true);
  }
  for (const char* name : {"battery_out_break", "charge_switch", "rail_5v_out_break"}) bare.relay(name, false);
  bare.run(50ms);
  bare.world.make_safe(bare.now);
  bare.run(200ms);
  for (const char* sense : {"battery_sense", "battery_current", "rail_controller", "charge_in", "charge_out"}) {
    CHECK(bare.read(sense) == Approx(0).margin(0.002));
  }
}

TEST_CASE("two outputs that touch meet in the middle while the module drives both", "[emulated][fault_bus]") {
  Bare bare;
  const double charge = bare.read("charge_out"), manifold = bare.read("manifold_out");
  REQUIRE(charge - manifold > 0.3);
  bare.relay("charge_pressure_out_to_bus", true);
  bare.relay("manifold_pressure_out_to_bus", true);
  bare.run(20ms);
  CHECK(bare.read("charge_out") == Approx((charge + manifold) / 2).margin(0.02));
  CHECK(bare.read("charge_in") == Approx(2.2).margin(0.01));
  bare.set("manifold_source", 1.8);  // the other output follows its own input still, and takes this one along
  bare.run(50ms);
  CHECK(bare.read("charge_out") > (charge + manifold) / 2 + 0.05);
}

TEST_CASE("a pressure line that touches the speed line is pulled about by its edges", "[emulated][fault_bus]") {
  Bare bare;
  bare.relay("charge_pressure_to_bus", true);
  bare.relay("speed_to_bus", true);
  bare.run(20ms);
  double low = 10, high = 0;
  for (int step = 0; step < 400; ++step) {
    bare.run(100us);
    low = std::min(low, bare.read("charge_in"));
    high = std::max(high, bare.read("charge_in"));
  }
  CHECK(low < 0.2);   // the drain takes it down
  CHECK(high > 2.2);  // the pull-up lifts it above its source
}

TEST_CASE("a speed line at the battery stands there, and gives no edges", "[emulated][fault_bus]") {
  Bare bare;
  bare.relay("speed_to_bus", true);
  bare.relay("bus_battery", true);
  bare.run(20ms);
  bare.world.speed().edges_out().clear();
  bare.run(100ms);
  CHECK(bare.world.speed().edges_out().size() < 3);
  CHECK(bare.read("speed_out") > 8);
}

TEST_CASE("a battery wire tied to ground gives what its supply's limit leaves", "[emulated][fault_bus]") {
  Bare bare;
  bare.world.apply(bare.now, rig::SetCurrentLimit{port(battery), rig::Amperes{0.5}});
  bare.relay("bus_ground", true);
  bare.relay("battery_out_to_bus", true);
  bare.run(50ms);
  CHECK(bare.read("battery_sense") < 5.1);
  CHECK(bare.read("battery_current") == Approx(0.5).margin(0.001));
  const std::vector<rig::PortId> limited = bare.world.take_limited(bare.now);
  CHECK(std::find(limited.begin(), limited.end(), port(battery)) != limited.end());
}
