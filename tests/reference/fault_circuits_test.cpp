// The emulated bench's fault bus against ngspice 39 (Debian 12): the whole bench on our side, relays and all, the same
// wiring written out by hand on the other. Values are the sample bench's (circuits_test.cpp), breaks and joints 0.1
// ohm, ties 10 ohm; the unit has no battery and so is copper from pin to pin, unless a circuit says otherwise.
#include "drivers/emulated/world.hpp"
#include "tests/reference/ngspice.hpp"
#include "tests/unit/drivers/emulated/fault_bench.hpp"

using namespace drivers::emulated;
using namespace std::chrono_literals;

namespace {

constexpr double kStatic = 0.0002;  // V: two tenths of a millivolt

struct Whole {
  explicit Whole(rig::BenchSetup with = faulty::fault_bench()) : setup{std::move(with)} {
    read("speed_in");  // somebody watches the speed line's voltage
    relay("isolator", true);
    relay("load", true);
    set(sample::rail, 5);
    set(wired::second_rail, 5);
    set(sample::charge_source, 1);
    set(sample::manifold_source, 3);
    run(50ms);
  }
  void relay(const char* name, bool closed) {
    world.apply(now, rig::SetRelay{sample::port(faulty::number(setup, name)), closed});
  }
  void set(int port, double volts) { world.apply(now, rig::SetOutput{sample::port(port), rig::Volts{volts}}); }
  void run(rig::Nanoseconds length) { world.advance(now += length.count()); }
  double read(const char* name) {
    const SensePlace place = world.sense(sample::port(faulty::number(setup, name)));
    place.net->advance(now);
    return place.net->reading(place.sense);
  }

  rig::BenchSetup setup;
  std::shared_ptr<const rig::Product> product = std::make_shared<const rig::Product>(wired::product());
  World world{setup, product, build_unit(*product, "A00001", {}, true), {}, 100};
  std::int64_t now = 0;
};

/// Two lines with their sources at cs and ms, the first rail and the module's ground.
const std::string kFirstRail =
    "V1 s1 0 5\nRs1 s1 t1 0.05\nRb1 t1 c1 0.1\nRc1 c1 0 10meg\nRk1 c1 m1 0.12\nRcu1 m1 n1 0.1\nRp1 n1 e1 0.02\n"
    "Re1 e1 0 10meg\nRown m1 g 2500\nRg g 0 0.05\n";
const std::string kChargeSource = "Rcs cs ci0 1k\n", kManifoldSource = "Rms ms mi0 1k\n";
const std::string kLines =
    "Rcf ci0 ci 0.1\nRci ci 0 10meg\nRcp ci cm 0.12\nRcl cm g 2.2meg\nRcb cm co1 1\nRco co1 cw 0.12\n"
    "Rcw cw co 0.1\nRcso co 0 10meg\nRcu co t1 47000.1\n"
    "Rmf mi0 mi 0.1\nRmi mi 0 10meg\nRmp mi mm 0.12\nRml mm g 2.2meg\nRmb mm mo1 1\nRmo mo1 mw 0.12\n"
    "Rmw mw mo 0.1\nRmso mo 0 10meg\nRmd mo 0 47000.1\n";
const std::string kBench = kFirstRail + kChargeSource + kManifoldSource + kLines;
const std::string kAtRest = kBench + "Vc cs 0 1\nVm ms 0 3\n";

struct Named {
  const char *port, *node;
};

/// Faults put on by relays, the same by elements, and where the two are compared.
void compare(const char* head, const std::vector<const char*>& closed, const std::vector<const char*>& opened,
             const std::string& elements, const std::vector<Named>& places) {
  ngspice::head(head);
  Whole whole;
  for (const char* name : closed) whole.relay(name, true);
  for (const char* name : opened) whole.relay(name, false);
  whole.run(50ms);
  std::vector<std::string> nodes;
  for (const Named& place : places) nodes.emplace_back(place.node);
  const auto theirs = ngspice::at_rest(elements, nodes);
  for (const Named& place : places)
    ngspice::compare(place.port, whole.read(place.port), theirs.at(place.node), kStatic);
}

const std::vector<Named> kFour{
    {"charge_in", "ci"}, {"charge_out", "co"}, {"manifold_in", "mi"}, {"manifold_out", "mo"}};

}  // namespace

TEST_CASE("fault circuit 1: a line tied to ground and to the reference", "[reference][ngspice]") {
  compare("F1 line to ground, 10 ohm", {"bus_ground", "charge_pressure_to_bus"}, {},
          kAtRest + "Rj ci bus 0.1\nRt bus 0 10.1\n", kFour);
  compare("F1 line to the first rail's supply, 10 ohm", {"bus_reference", "charge_pressure_to_bus"}, {},
          kAtRest + "Rj ci bus 0.1\nRt bus t1 10.1\n", kFour);
  std::string open = kAtRest + "Rj ci bus 0.1\nRt bus t1 10000.1\n";
  open.replace(open.find("Rcf ci0 ci 0.1"), 14, "Rcf ci0 ci 1e15");
  compare("F1 open line, biased up", {"bus_bias_up", "charge_pressure_to_bus"}, {"charge_switch"}, open, kFour);
  std::string worn = kAtRest + "Rj ci bus 0.1\nRt bus 0 10000.1\n";
  worn.replace(worn.find("Rcf ci0 ci 0.1"), 14, "Rcf ci0 ci 1000.1");
  compare("F1 worn line, biased down", {"bus_bias_down", "charge_pressure_to_bus", "charge_pressure_worn"},
          {"charge_switch"}, worn, kFour);
}

TEST_CASE("fault circuit 2: lines that touch, in front of the module and behind it", "[reference][ngspice]") {
  compare("F2 two inputs", {"charge_pressure_to_bus", "manifold_pressure_to_bus"}, {},
          kAtRest + "Rj ci bus 0.1\nRk mi bus 0.1\n", kFour);
  compare("F2 two outputs", {"charge_pressure_out_to_bus", "manifold_pressure_out_to_bus"}, {},
          kAtRest + "Rj cw bus 0.1\nRk mw bus 0.1\n", kFour);
  std::string parted = kAtRest + "Rj cw bus 0.1\nRk mw bus 0.1\n";
  parted.replace(parted.find("Rcw cw co 0.1"), 13, "Rcw cw co 1e15");
  compare("F2 two outputs, one parted from its controller",
          {"charge_pressure_out_to_bus", "manifold_pressure_out_to_bus"}, {"charge_pressure_out_break"}, parted, kFour);
}

TEST_CASE("fault circuit 3: one line's source moves the other that touches it", "[reference][ngspice]") {
  ngspice::head("F3 step of the manifold's source, seen on the charge pressure's line");
  for (const auto& [port, node] : {Named{"charge_in", "ci"}, {"charge_out", "co"}}) {
    Whole whole;
    whole.relay("charge_pressure_to_bus", true);
    whole.relay("manifold_pressure_to_bus", true);
    whole.run(50ms);
    whole.set(sample::manifold_source, 1);
    const std::int64_t start = whole.now;
    ngspice::compare_course(
        "Vset set 0 PWL(0 3 1n 1)\nRset set lagged 1k\nCset lagged 0 100n\nE1 ms 0 lagged 0 1\nVc cs 0 1\n" + kBench +
            "Rj ci bus 0.1\nRk mi bus 0.1\n" + ngspice::sense_of(node),
        "sensed", 20e-6, 1e-3,
        [&, port = port](std::int64_t at) {
          whole.run(rig::Nanoseconds{start + at - whole.now});
          return whole.read(port);
        },
        0.002);
  }
}

TEST_CASE("fault circuit 4: a line tied to the battery, its source at the end of what it sinks",
          "[reference][ngspice]") {
  ngspice::head("F4 source from 5 V to 3 V against 13.8 V, 10 mA at most");
  Whole whole;
  whole.set(sample::battery, 13.8);
  whole.set(sample::charge_source, 5);
  whole.relay("battery_out_break", false);  // the unit stays without
  whole.relay("bus_battery", true);
  whole.relay("charge_pressure_to_bus", true);
  whole.run(50ms);
  whole.set(sample::charge_source, 3);
  const std::int64_t start = whole.now;
  ngspice::compare_course(
      "Vset set 0 PWL(0 5 1n 3)\nRset set lagged 1k\nCset lagged 0 100n\nE1 cs 0 lagged 0 1\nVm ms 0 3\n" + kFirstRail +
          kManifoldSource + kLines + "Bcs ci0 0 I=min((v(ci0)-v(cs))/1000, 0.01)\n" +
          "VB b 0 13.8\nRbs b bt 0.05\nRt bt bus 10.1\nRj ci bus 0.1\n" + ngspice::sense_of("ci"),
      "sensed", 20e-6, 1e-3,
      [&](std::int64_t at) {
        whole.run(rig::Nanoseconds{start + at - whole.now});
        return whole.read("charge_in");
      },
      0.005);
}

TEST_CASE("fault circuit 5: rails shorted, worn and at their supply's limit", "[reference][ngspice]") {
  compare("F5 rail to ground at the controller's side", {"bus_ground", "rail_5v_out_to_bus"}, {},
          kAtRest + "Rj c1 bus 0.1\nRt bus 0 10.1\n",
          {{"rail_controller", "c1"}, {"rail_sensor", "e1"}, {"charge_out", "co"}, {"ground_sense", "g"}});
  compare("F5 worn rail", {"rail_5v_out_worn"}, {"rail_5v_out_break"},
          "V1 s1 0 5\nRs1 s1 t1 0.05\nRb1 t1 c1 10.1\nRc1 c1 0 10meg\nRk1 c1 m1 0.12\nRcu1 m1 n1 0.1\nRp1 n1 e1 0.02\n"
          "Re1 e1 0 10meg\nRown m1 g 2500\nRg g 0 0.05\n",
          {{"rail_controller", "c1"}, {"rail_sensor", "e1"}});
  compare("F5 a line and a rail at the sensors' side", {"charge_pressure_to_bus", "rail_5v_to_bus"}, {},
          kAtRest + "Rj ci bus 0.1\nRk e1 bus 0.1\n",
          {{"charge_in", "ci"}, {"rail_sensor", "e1"}, {"charge_out", "co"}});
  ngspice::head("F5 rail of 0.2 A to ground");
  rig::BenchSetup setup = faulty::fault_bench();
  setup.ports[sample::rail].current_limit = rig::Amperes{0.2};
  Whole whole{setup};
  whole.relay("bus_ground", true);
  whole.relay("rail_5v_out_to_bus", true);
  whole.run(50ms);
  std::string limited = kAtRest + "Rj c1 bus 0.1\nRt bus 0 10.1\n";
  limited.replace(limited.find("V1 s1 0 5\nRs1 s1 t1 0.05\n"), 25, "I1 0 t1 0.2\n");
  const auto theirs = ngspice::at_rest(limited, {"c1", "co"});
  ngspice::compare("rail_controller", whole.read("rail_controller"), theirs.at("c1"), kStatic);
  ngspice::compare("charge_out", whole.read("charge_out"), theirs.at("co"), kStatic);
}

TEST_CASE("fault circuit 6: a worn battery and a worn ground under what the unit draws", "[reference][ngspice]") {
  ngspice::head("F6 5 ohm in the battery's wire, 2 ohm in the ground's");
  Whole whole;
  whole.relay("battery_out_worn", true);
  whole.relay("battery_out_break", false);
  whole.relay("ground_out_worn", true);
  whole.relay("ground_break", false);
  whole.set(sample::battery, 13.8);
  whole.run(100ms);  // it boots: past its inrush, not yet driving
  const auto theirs = ngspice::at_rest(
      "VB b 0 13.8\nRbs b bt 0.05\nRbb bt bp 5.1\nRbp bp 0 10meg\nIunit bp g 0.06\nV1 s1 0 5\nRs1 s1 t1 0.05\n"
      "Rb1 t1 c1 0.1\nRc1 c1 0 10meg\nRk1 c1 m1 0.12\nRcu1 m1 n1 0.1\nRp1 n1 e1 0.02\nRe1 e1 0 10meg\nRown m1 g 2500\n"
      "Rg g 0 2.15\n",
      {"bp", "g"});
  ngspice::compare("battery_sense", whole.read("battery_sense"), theirs.at("bp"), kStatic);
  ngspice::compare("ground_sense", whole.read("ground_sense"), theirs.at("g"), kStatic);
}

TEST_CASE("fault circuit 7: a pressure line that touches the speed line", "[reference][ngspice]") {
  Whole whole;
  const rig::SpeedLine& speed = whole.product->speed;
  ngspice::head("F7 drain off, both in front of the module");
  whole.relay("charge_pressure_to_bus", true);
  whole.relay("speed_to_bus", true);
  whole.run(50ms);
  const auto text = [](double value) { return std::to_string(value); };
  const auto theirs =
      ngspice::at_rest(kAtRest + "Rj ci bus 0.1\nRk si bus 0.1\nRsi si 0 10meg\nRsp si sm 0.12\nRsb sm so1 " +
                           text(whole.product->build.speed_resistance.value()) +
                           "\nRso so1 sw 0.12\nRsw sw so 0.1\nRsso so 0 10meg\nVp p 0 " +
                           text(speed.pull_up_to.value()) + "\nRpu p so " + text(speed.pull_up.value()) + "\n",
                       {"ci", "si", "so"});
  ngspice::compare("charge_in", whole.read("charge_in"), theirs.at("ci"), kStatic);
  ngspice::compare("speed_in", whole.read("speed_in"), theirs.at("si"), kStatic);
  ngspice::compare("speed_out", whole.read("speed_out"), theirs.at("so"), kStatic);
}
