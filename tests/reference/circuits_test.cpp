// The emulated bench's networks against ngspice 39 (Debian 12), circuit by circuit: at rest within 0.2 mV, in motion
// within 0.2 to 0.5 % of what moves. The netlists are written out by
// hand from the wiring's words, with the sample bench's values: source 1 kohm, relay contacts 0.1 ohm, fixture contacts
// 0.02 ohm, leakage 2.2 Mohm, senses 10 Mohm, controller's input 47 kohm.
#include "drivers/emulated/line.hpp"
#include "drivers/emulated/supply_net.hpp"
#include "tests/reference/ngspice.hpp"
#include "tests/unit/drivers/emulated/wired_bench.hpp"

using namespace drivers::emulated;

namespace {

constexpr double kStatic = 0.0002;  // V: two tenths of a millivolt

UnitBuild unit(const rig::Product& product, std::vector<drivers::Defect> defects = {}) {
  return build_unit(product, "A00001", defects, true);
}

drivers::Defect defect(const char* text) { return std::get<drivers::Defect>(drivers::parse_defect(text)); }

/// The manifold pressure's line with a source that is at rest at 0 V.
struct Rig {
  explicit Rig(std::vector<drivers::Defect> defects = {}, rig::BenchSetup with = wired::bench(),
               rig::Product of = sample::product())
      : setup{std::move(with)}, product{std::move(of)}, build{unit(product, std::move(defects))} {
    line.drive_source(true);
    line.net().set_tau(kRail, 0);
  }
  void wire() { line.rebuild(switches); }
  void drive(Driver which, double volts, double rise = 0) {
    line.net().drive(which).follow(volts, rise, line.net().tau(which));
    line.changed();
  }
  void settle() { line.net().advance(line.net().now() + 1'000'000'000); }  // hundreds of time constants
  /// Course and instants count from here.
  void begin() { start = line.net().now(); }
  void go_to(std::int64_t at) { line.net().advance(start + at); }
  double in() { return line.net().reading(line.sense_in()); }
  double out() { return line.net().reading(line.sense_out()); }

  rig::BenchSetup setup;
  rig::Product product;
  UnitBuild build;
  Line line{setup, setup.wiring.lines[1], product, 1, build};
  Line::Switches switches;
  std::int64_t start = 0;
};

/// The line's bench side up to the module's pin, fed from node "source".
const std::string kInputSide =
    "Rsource source in0 1k\nRfault in0 in 0.1\nRin in 0 10meg\nRpin in pin 0.12\nRleak pin 0 2.2meg\n";
const std::string kOutputSide = "Rout module_out out 0.12\nRsout out 0 10meg\nRload out 0 47000.1\n";

}  // namespace

TEST_CASE("circuit 1: a bypassed line under its controller's load, and with the second", "[reference][ngspice]") {
  ngspice::head("1 bypassed line");
  for (const bool second : {false, true}) {
    Rig rig;
    rig.line.set_load(sample::port(sample::load), true);
    rig.line.set_load(sample::port(wired::manifold_second_load), second);
    rig.wire();
    rig.drive(kSource, 4.5);
    rig.settle();
    const auto theirs = ngspice::at_rest("V source 0 4.5\n" + kInputSide + "Rbypass pin module_out 1\n" + kOutputSide +
                                             (second ? "Rsecond out 0 10000.1\n" : ""),
                                         {"in", "out"});
    const std::string with = second ? ", both loads" : ", first load";
    ngspice::compare("sense_in" + with, rig.in(), theirs.at("in"), kStatic);
    ngspice::compare("sense_out" + with, rig.out(), theirs.at("out"), kStatic);
  }
}

TEST_CASE("circuit 2: output stage and bypass both made, pulled up and down", "[reference][ngspice]") {
  ngspice::head("2 make before break");
  LineNetwork n;
  n.source = 1000, n.fault_switch = 0.1, n.contact_in = n.contact_out = 0.12, n.leakage = 1 / 2.2e6;
  n.sense_in_load = n.sense_out_load = 1e-7, n.through = 1, n.output = 47, n.pull_up = 2200, n.second_pull_down = 1e4;
  const SolvedLine solved = solve(n);
  const auto volts = [](const Mixture& m) { return 3.0 * m[kSource] + 1.2 * m[kOutput] + 5.0 * m[kRail]; };
  const auto theirs = ngspice::at_rest("V source 0 3\n" + kInputSide +
                                           "Rbypass pin module_out 1\nVstage stage 0 1.2\nRstage stage module_out 47\n"
                                           "Rout module_out out 0.12\nRsout out 0 10meg\nVrail rail 0 5\n"
                                           "Rup rail out 2200\nRdown out 0 10k\n",
                                       {"in", "pin", "module_out", "out"});
  ngspice::compare("sense_in", volts(solved.bench_in), theirs.at("in"), kStatic);
  ngspice::compare("module's input pin", volts(solved.module_in), theirs.at("pin"), kStatic);
  ngspice::compare("module's output pin", volts(solved.module_out), theirs.at("module_out"), kStatic);
  ngspice::compare("sense_out", volts(solved.bench_out), theirs.at("out"), kStatic);
}

TEST_CASE("circuit 3: an open fault switch, with the senses' leakage on the floating line", "[reference][ngspice]") {
  ngspice::head("3 open line");
  LineNetwork n;
  n.source = 1000, n.contact_in = n.contact_out = 0.12, n.leakage = 1 / 2.2e6, n.through = 1;
  n.sense_in_load = n.sense_out_load = 1e-7, n.sense_in_leakage = 2e-9, n.sense_out_leakage = -5e-10;
  const std::string floating =
      "Rin in 0 10meg\nIin 0 in 2n\nRpin in pin 0.12\nRleak pin 0 2.2meg\nRbypass pin module_out 1\n"
      "Rout module_out out 0.12\nRsout out 0 10meg\nIout 0 out -0.5n\n";
  for (const bool pulled : {false, true}) {
    n.pull_up = pulled ? std::optional{47e3} : std::nullopt;
    const SolvedLine solved = solve(n);
    const auto theirs =
        ngspice::at_rest(floating + (pulled ? "Vrail rail 0 5\nRup rail out 47k\n" : ""), {"in", "out"});
    const auto volts = [](const Mixture& m) { return 5 * m[kRail] + m[kOne]; };
    const std::string with = pulled ? ", pulled up" : ", nothing but leakage";
    ngspice::compare("sense_in" + with, volts(solved.bench_in), theirs.at("in"), kStatic);
    ngspice::compare("sense_out" + with, volts(solved.bench_out), theirs.at("out"), kStatic);
  }
}

TEST_CASE("circuit 4: a step of the source through its own time constant and the sense's", "[reference][ngspice]") {
  ngspice::head("4 step, 100 us and 50 us");
  Rig rig;
  rig.line.set_load(sample::port(sample::load), true);
  rig.wire();
  rig.settle();
  rig.begin();
  rig.drive(kSource, 4);
  const std::string elements =
      "Vset set 0 PWL(0 0 1n 4)\nRset set lagged 1k\nCset lagged 0 100n\n"
      "Esource source 0 lagged 0 1\n" +
      kInputSide + "Rbypass pin module_out 1\n" + kOutputSide + ngspice::sense_of("out");
  ngspice::compare_course(
      elements, "sensed", 20e-6, 2e-3,
      [&](std::int64_t at) {
        rig.go_to(at);
        return rig.out();
      },
      0.002);
}

TEST_CASE("circuit 5: the output stage steps through 3 ms while the source ramps, both contacts made",
          "[reference][ngspice]") {
  ngspice::head("5 step of the output, ramp of the source");
  Rig rig;
  rig.switches.output = true;
  rig.line.set_load(sample::port(sample::load), true);
  rig.wire();
  rig.settle();
  rig.begin();
  rig.drive(kOutput, 2);
  rig.drive(kSource, 0, 0.3e-6);  // 0.3 V a millisecond
  const std::string elements =
      "Vset set 0 PWL(0 0 10m 3)\nRset set lagged 1k\nCset lagged 0 100n\nEsource source 0 lagged 0 1\n" + kInputSide +
      "Rbypass pin module_out 1\nVto to 0 PWL(0 0 1n 2)\nRto to filtered 1k\nCto filtered 0 3u\n"
      "Estage stage 0 filtered 0 1\nRstage stage module_out 47\n" +
      kOutputSide + ngspice::sense_of("in");
  ngspice::compare_course(
      elements, "sensed", 100e-6, 10e-3,
      [&](std::int64_t at) {
        rig.go_to(at);
        return rig.in();
      },
      0.002);
}

TEST_CASE("circuit 6: a load of 10 kohm is switched in", "[reference][ngspice]") {
  ngspice::head("6 load switched in after 1 ms");
  Rig rig;
  rig.line.set_load(sample::port(sample::load), true);
  rig.wire();
  rig.drive(kSource, 4);
  rig.settle();
  bool closed = false;
  const std::string elements = "V source 0 4\n" + kInputSide + "Rbypass pin module_out 1\n" + kOutputSide +
                               "Vclose close 0 PWL(0 0 1m 0 1.000001m 1)\n"
                               "Ssecond out second close 0 contact\nRsecond second 0 10k\n"
                               ".model contact sw(vt=0.5 vh=0 ron=0.1 roff=1e12)\n" +
                               ngspice::sense_of("out");
  rig.begin();
  const double rest = rig.out();
  const auto theirs = ngspice::over_time(elements, "sensed", 20e-6, 2e-3);
  const double step = theirs.front() - theirs.back();
  for (const double at : {0.5e-3, 1.04e-3, 1.1e-3, 1.2e-3, 2e-3}) {
    if (at > 1e-3 && !closed) {
      rig.go_to(1'000'000);
      rig.line.set_load(sample::port(wired::manifold_second_load), true);
      rig.wire();
      closed = true;
    }
    rig.go_to(std::llround(at * 1e9));
    ngspice::compare("sense_out at " + std::to_string(at * 1e3) + " ms", rig.out(),
                     theirs[static_cast<std::size_t>(at / 20e-6 + 0.5)], 0.005 * step);
  }
  CHECK(rest - rig.out() == Approx(step).epsilon(0.005));
}

TEST_CASE("circuit 7: diodes into an unpowered module, at rest", "[reference][ngspice]") {
  ngspice::head("7 clamp of 200 ohm");
  for (const double volts : {-1.5, 0.4, 0.7, 1.0, 2.0, 4.5}) {
    Rig rig{{defect("half_power_clamp=200@manifold_pressure")}};
    rig.line.set_load(sample::port(sample::load), true);
    rig.wire();
    rig.drive(kSource, volts);
    rig.settle();
    const std::string rest =
        "V source 0 " + std::to_string(volts) + "\n" + kInputSide + "Rbypass pin module_out 1\n" + kOutputSide;
    const auto pieces = ngspice::at_rest(
        rest + "Bhigh pin 0 I=max(0,(V(pin)-0.6)/200)\nBlow 0 pin I=max(0,(-0.6-V(pin))/200)\n", {"in"});
    // A silicon signal diode of usual size. Ours conducts from 0.6 V on; it does so as its exponential has it: some
    // hundredths of a volt apart near the knee and at currents of milliamperes.
    const auto silicon = ngspice::at_rest(rest +
                                              "Rclamp pin anode 200\nDhigh anode 0 d\nDlow 0 anode d\n"
                                              ".model d d(is=2e-13 n=1)\n",
                                          {"in"});
    const std::string at = "source at " + std::to_string(volts).substr(0, 4) + " V, ";
    ngspice::compare(at + "diodes linear in pieces", rig.in(), pieces.at("in"), kStatic);
    ngspice::compare(at + "exponential diodes", rig.in(), silicon.at("in"), 0.08);
  }
}

TEST_CASE("circuit 8: a ramp runs into a diode and on", "[reference][ngspice]") {
  ngspice::head("8 ramp through the diode's threshold");
  Rig rig{{defect("half_power_clamp=200@manifold_pressure")}};
  rig.line.set_load(sample::port(sample::load), true);
  rig.wire();
  rig.settle();
  rig.begin();
  rig.drive(kSource, 0, 0.4e-6);
  const std::string elements =
      "Vset set 0 PWL(0 0 10m 4)\nRset set lagged 1k\nCset lagged 0 100n\n"
      "Esource source 0 lagged 0 1\n" +
      kInputSide + "Rbypass pin module_out 1\n" + kOutputSide + "Bhigh pin 0 I=max(0,(V(pin)-0.6)/200)\n" +
      ngspice::sense_of("in");
  ngspice::compare_course(
      elements, "sensed", 50e-6, 10e-3,
      [&](std::int64_t at) {
        rig.go_to(at);
        return rig.in();
      },
      0.003);
}

TEST_CASE("circuit 9: a source at its current limit, at rest and on a ramp", "[reference][ngspice]") {
  ngspice::head("9 limit of 10 mA behind 100 ohm, clamp of 50 ohm");
  rig::Product product = sample::product();
  product.pressures[1].source_resistance = rig::Ohms{100};
  const std::string elements =
      "Bsource 0 in0 I=max(-0.01,min(0.01,(V(lagged)-V(in0))/100))\nRfault in0 in 0.1\n"
      "Rin in 0 10meg\nRpin in pin 0.12\nRleak pin 0 2.2meg\nRbypass pin module_out 1\n" +
      kOutputSide + "Bhigh pin 0 I=max(0,(V(pin)-0.6)/50)\n" + ngspice::sense_of("in");
  for (const double volts : {1.0, 3.0, 4.5}) {
    Rig rig{{defect("half_power_clamp=50@manifold_pressure")}, wired::bench(), product};
    rig.line.set_load(sample::port(sample::load), true);
    rig.wire();
    rig.drive(kSource, volts);
    rig.settle();
    const auto theirs = ngspice::at_rest("Vset lagged 0 " + std::to_string(volts) + "\n" + elements, {"in"});
    ngspice::compare("source at " + std::to_string(volts).substr(0, 4) + " V", rig.in(), theirs.at("in"), kStatic);
  }
  Rig rig{{defect("half_power_clamp=50@manifold_pressure")}, wired::bench(), product};
  rig.line.set_load(sample::port(sample::load), true);
  rig.wire();
  rig.settle();
  rig.begin();
  rig.drive(kSource, 0, 0.4e-6);
  ngspice::compare_course(
      "Vset set 0 PWL(0 0 10m 4)\nRset set lagged 1k\nCset lagged 0 100n\n" + elements, "sensed", 50e-6, 10e-3,
      [&](std::int64_t at) {
        rig.go_to(at);
        return rig.in();
      },
      0.003);
}

namespace {

/// Two rails with 500 and 250 ohm of sensors, 22 ohm between them within the unit, its own 2500 ohm and 60 mA; the
/// ground through 0.05 ohm.
const std::string kRails =
    "Rs1 s1 c1 0.05\nRc1 c1 0 10meg\nRk1 c1 m1 0.12\nRcu1 m1 n1 0.1\nRp1 n1 e1 0.02\nRe1 e1 0 10meg\nRl1 e1 g 500.1\n"
    "Rs2 s2 c2 0.05\nRc2 c2 0 10meg\nRk2 c2 m2 0.12\nRcu2 m2 n2 0.1\nRp2 n2 e2 0.02\nRe2 e2 0 10meg\nRl2 e2 g 250.1\n"
    "Rown m1 g 2500\nRcross m1 m2 22\nRg g 0 0.05\nIunit 0 g 0.06\n";

struct Supplies {
  Supplies() {
    for (const std::size_t rail : {0u, 1u}) supply.drive_source(rail, true);
    for (const int relay : {wired::rail_load, wired::second_rail_load}) supply.set_relay(sample::port(relay), true);
    supply.rebuild();
    supply.net().drive(kCurrent).level = 0.06;
  }
  void set(Driver rail, double volts) {
    supply.net().drive(rail).follow(volts, 0, supply.net().tau(rail));
    supply.net().changed();
  }
  rig::BenchSetup setup = wired::bench();
  rig::Product product = wired::product();
  UnitBuild build = unit(product, {defect("cross_feed=22")});
  SupplyNet supply{setup, product, build, {}};
};

}  // namespace

TEST_CASE("circuit 10: two rails with their sensors, a leak between them, and the ground", "[reference][ngspice]") {
  ngspice::head("10 rails and ground at rest");
  for (const double second : {5.0, 0.0}) {
    Supplies s;
    s.set(kRail, 5);
    s.set(kRailTwo, second);
    s.supply.net().advance(1'000'000'000);
    const auto theirs =
        ngspice::at_rest("V1 s1 0 5\nV2 s2 0 " + std::to_string(second) + "\n" + kRails, {"c1", "e1", "c2", "e2", "g"});
    const std::string with = second > 0 ? ", both on" : ", second grounded";
    ngspice::compare("first, controller's side" + with, s.supply.net().reading(0), theirs.at("c1"), kStatic);
    ngspice::compare("first, sensors' side" + with, s.supply.net().reading(1), theirs.at("e1"), kStatic);
    ngspice::compare("second, controller's side" + with, s.supply.net().reading(2), theirs.at("c2"), kStatic);
    ngspice::compare("second, sensors' side" + with, s.supply.net().reading(3), theirs.at("e2"), kStatic);
    ngspice::compare("module's ground" + with, s.supply.net().reading(4), theirs.at("g"), 0.00002);
  }
}

TEST_CASE("circuit 11: a rail dips, and the sensors' side and the ground with it", "[reference][ngspice]") {
  ngspice::head("11 dip of the first rail from 5 V to 4 V");
  for (const auto& [sense, node] : {std::pair{1u, "e1"}, {4u, "g"}}) {
    Supplies s;
    s.set(kRail, 5);
    s.set(kRailTwo, 5);
    s.supply.net().advance(10'000'000);
    s.set(kRail, 4);
    const std::string elements =
        "Vset set 0 PWL(0 5 1n 4)\nRset set lagged 1k\nCset lagged 0 100n\n"
        "E1 s1 0 lagged 0 1\nV2 s2 0 5\n" +
        kRails + ngspice::sense_of(node);
    const std::size_t which = sense;
    ngspice::compare_course(
        elements, "sensed", 20e-6, 1e-3,
        [&](std::int64_t at) {
          s.supply.net().advance(10'000'000 + at);
          return s.supply.net().reading(which);
        },
        0.002);
  }
}

TEST_CASE("circuit 12: an output rides on its unit's ground", "[reference][ngspice]") {
  ngspice::head("12 output stage over a ground of 0.05 ohm and 60 mA, pulled up to a loaded rail");
  Supplies s;
  rig::Product product = wired::product();
  product.pressures[1].controller = {rig::Ohms{2200}, {}, {}};
  Line line{s.setup, s.setup.wiring.lines[1], product, 1, s.build};
  line.set_surroundings(s.supply.surroundings(1));
  line.drive_source(true);
  line.set_load(sample::port(sample::load), true);
  Line::Switches switches;
  switches.bypass = false, switches.output = true;
  line.rebuild(switches);
  line.net().drive(kSource).level = 3;
  line.net().drive(kOutput).level = 2;
  line.net().drive(kRail).level = line.net().drive(kRailTwo).level = 5;
  line.net().drive(kCurrent).level = 0.06;
  line.net().settle();
  const auto theirs = ngspice::at_rest("V1 s1 0 5\nV2 s2 0 5\n" + kRails +
                                           "V source 0 3\nRsource source in0 1k\n"
                                           "Rfault in0 in 0.1\nRin in 0 10meg\nRpin in pin 0.12\nRleak pin g 2.2meg\n"
                                           "Estage stage g set 0 1\nVto set 0 2\nRstage stage module_out 47\n"
                                           "Rout module_out out 0.12\nRsout out 0 10meg\nRup c2 out 2200.1\n",
                                       {"in", "pin", "out", "g"});
  // What a line's pull-up takes out of a driven rail is left out on our side: 1.3 mA in 0.05 ohm here, 0.07 mV.
  ngspice::compare("sense_in", line.net().reading(0), theirs.at("in"), kStatic);
  ngspice::compare("sense_out", line.net().reading(1), theirs.at("out"), kStatic);
  ngspice::compare("input pin against the unit's ground", line.module_pin(0), theirs.at("pin") - theirs.at("g"),
                   kStatic);
}
