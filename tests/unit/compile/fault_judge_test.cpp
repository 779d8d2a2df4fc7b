#include "rig/compile/fault_judge.hpp"

#include "rig/compile/ceiling_watch.hpp"
#include "tests/unit/compile/paper_fault.hpp"

using namespace rig;
using Catch::Matchers::Contains;
using paper::Fault;

namespace {

constexpr double kTravel = 0.003;  ///< s, after which the relay on paper has come to rest
constexpr std::size_t kCharge = 0, kManifold = 1;

/// The manifold sensor's wire breaks and is drawn down; the module falls back so long after, and is back 500 ms after
/// the wire is whole again.
Fault open_wire(double falls_back = 0.020, double comes_back = 0.500) {
  Fault fault{paper::fault_of(FaultKind::open, "manifold_pressure", ConnectorSide::sensor, OpenEnd::down)};
  const double broken = fault.on() + kTravel, whole = fault.off() + kTravel;
  fault.in[kManifold] = Fault::at(0.02, broken, whole, fault.in[kManifold]);
  for (const auto c : {kCharge, kManifold}) fault.out[c] = fault.away(c, broken + falls_back, whole + comes_back);
  fault.out[kManifold] = Fault::at(0.03, broken + 0.004, whole + 0.001, fault.out[kManifold]);
  return fault;
}

/// Everything a step owes for the fault, and whether all of it passed.
void check_all_pass(const Fault& fault) {
  const auto judged = fault.judge();
  CHECK_FALSE(judged.findings.empty());
  for (const auto& finding : judged.findings) {
    CAPTURE(finding.id, finding.value, finding.uncertainty, finding.reason);
    CHECK(finding.verdict == Verdict::pass);
  }
}

}  // namespace

TEST_CASE("a reaction is timed from the last bounce at the pin, not from the command", "[compile][fault]") {
  auto fault = open_wire(0.020);
  check_all_pass(fault);
  CHECK(fault.find("reaction", "charge_pressure").value == Approx(20).margin(0.15));
  SECTION("a bounce moves it on") {
    const double broken = fault.on() + kTravel;
    const double whole = fault.inputs[kManifold];
    fault.in[kManifold] = Fault::at(whole, broken + 0.0005, broken + 0.0012, fault.in[kManifold]);
    CHECK(fault.find("reaction", "charge_pressure").value == Approx(20 - 1.2).margin(0.15));
  }
}

TEST_CASE("a reaction after its deadline fails, and says by how much", "[compile][fault]") {
  const auto finding = open_wire(0.060).find("reaction", "charge_pressure");
  CHECK(finding.verdict == Verdict::fail);
  CHECK(finding.value == Approx(60).margin(0.15));
  CHECK(finding.high == 50.0);
  CHECK_THAT(finding.reason, Contains("does not pass through until 60.") && Contains("due after 50 ms"));
}

TEST_CASE("a reaction within its uncertainty of the deadline is undecided", "[compile][fault]") {
  for (const double ms : {49.98, 50.02}) {
    const auto finding = open_wire(ms / 1e3).find("reaction", "charge_pressure");
    CAPTURE(ms, finding.value, finding.uncertainty);
    CHECK(finding.verdict == Verdict::undecided);
    CHECK_THAT(finding.reason, Contains("too near to 50 ms"));
  }
  CHECK(open_wire(0.0495).find("reaction", "charge_pressure").verdict == Verdict::pass);
  CHECK(open_wire(0.0505).find("reaction", "charge_pressure").verdict == Verdict::fail);
}

TEST_CASE("a module quicker than the sense has reacted in no time, not before", "[compile][fault]") {
  const auto finding = open_wire(-0.001).find("reaction", "charge_pressure");
  CHECK(finding.value == 0);
  CHECK(finding.verdict == Verdict::pass);
}

TEST_CASE("a reaction that does not stay complete has not come", "[compile][fault]") {
  auto fault = open_wire(0.020);
  const double broken = fault.on() + kTravel;
  fault.out[kCharge] = Fault::at(fault.tables[kCharge], broken + 0.070, broken + 0.072, fault.out[kCharge]);
  const auto finding = fault.find("reaction", "charge_pressure");
  CHECK(finding.verdict == Verdict::fail);
  CHECK(finding.value == Approx(72).margin(0.2));
}

TEST_CASE("a module that does not react at all fails with what it should have done", "[compile][fault]") {
  auto fault = open_wire();
  const double table = fault.tables[kCharge];
  fault.out[kCharge] = [=](double) { return table; };
  const auto finding = fault.find("reaction", "charge_pressure");
  CHECK(finding.verdict == Verdict::fail);
  CHECK_THAT(finding.reason, Contains("charge_pressure does not pass through as long as manifold_pressure open"));
  SECTION("the other output is judged by itself") {
    CHECK(fault.find("reaction", "manifold_pressure").verdict == Verdict::pass);
  }
}

TEST_CASE("a sensor's own fault is never hidden from the controller", "[compile][fault]") {
  auto fault = open_wire();
  CHECK(fault.find("never_hidden", "manifold_pressure").value == Approx(0.03).margin(0.001));
  const double broken = fault.on() + kTravel, whole = fault.off() + kTravel;
  fault.out[kManifold] = Fault::at(2.6, broken, whole + 0.001, fault.away(kManifold, broken, whole + 0.5));
  const auto finding = fault.find("never_hidden", "manifold_pressure");
  CHECK(finding.verdict == Verdict::fail);
  CHECK_THAT(finding.reason, Contains("2.60 V") && Contains("hides its sensor's fault"));
}

TEST_CASE("an output may leave input and table for no longer than its longest spike", "[compile][fault]") {
  for (const auto& [length, verdict] : {std::pair{0.001, Verdict::pass}, {0.004, Verdict::fail}}) {
    auto fault = open_wire();
    const double from = fault.on() + 0.020;
    fault.out[kCharge] = Fault::at(4.7, from, from + length, fault.out[kCharge]);
    const auto finding = fault.find("spike", "charge_pressure");
    CAPTURE(length, finding.value);
    CHECK(finding.verdict == verdict);
    CHECK(finding.value == Approx(1e3 * length).margin(0.25));
  }
  SECTION("long after the fault too, by every conversion") {
    auto fault = open_wire();
    const double from = fault.off() + 0.300;
    fault.out[kCharge] = Fault::at(4.7, from, from + 0.005, fault.out[kCharge]);
    CHECK(fault.find("spike", "charge_pressure").verdict == Verdict::fail);
  }
}

TEST_CASE("a recovery is timed from the fault's end at the pin", "[compile][fault]") {
  CHECK(open_wire(0.02, 0.5).find("recovery", "charge_pressure").value == Approx(500).margin(8));
  const auto late = open_wire(0.02, 1.04).find("recovery", "charge_pressure");
  CHECK(late.verdict == Verdict::fail);
  CHECK_THAT(late.reason, Contains("is not back on its table") && Contains("due within 1000 ms"));
  const auto never = open_wire(0.02, 9).find("recovery", "charge_pressure");
  CHECK(never.verdict == Verdict::fail);
}

TEST_CASE("a unit that was not at its table before a fault is not judged by what it does then", "[compile][fault]") {
  auto fault = open_wire();
  const double input = fault.inputs[kCharge];
  fault.out[kCharge] = [=](double) { return input; };
  const auto finding = fault.find("reaction", "charge_pressure");
  CHECK(finding.verdict == Verdict::undecided);
  CHECK_THAT(finding.reason, Contains("was not at its table before"));
}

TEST_CASE("a fault that does not come to the pin is the bench's own", "[compile][fault]") {
  auto fault = open_wire();
  const double whole = fault.inputs[kManifold];
  SECTION("nothing happens at the pin") {
    fault.in[kManifold] = [=](double) { return whole; };
    for (const auto& finding : fault.judge().findings) {
      CHECK(finding.verdict == Verdict::void_);
      CHECK_THAT(finding.reason, Contains("did not come to the pin") && Contains("manifold_in"));
    }
  }
  SECTION("the contact goes on bouncing") {
    const double off = fault.off();
    fault.in[kManifold] = Fault::at(0.02, fault.on(), off - 0.0002, [=](double) { return whole; });
    const auto judged = fault.judge();
    for (const auto& finding : judged.findings) {
      CHECK(finding.verdict == Verdict::void_);
      CHECK_THAT(finding.reason, Contains("check the relay"));
    }
  }
}

TEST_CASE("a source at its limit on the wire that is shorted is what was asked for", "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::short_to_ground, "manifold_pressure")};
  const auto& wiring = fault.plan()->bench.wiring;
  RigFlag flag;
  flag.kind = RigFlag::Kind::current_limited;
  flag.port = wiring.line("manifold_pressure")->source;
  fault.flags = {flag};
  fault.in[kManifold] = Fault::at(0.02, fault.on() + kTravel, fault.off() + kTravel, fault.in[kManifold]);
  CHECK(fault.find("spike", "charge_pressure").verdict != Verdict::void_);
  fault.flags.front().port = wiring.line("charge_pressure")->source;
  CHECK(fault.find("spike", "charge_pressure").verdict == Verdict::void_);
  SECTION("a sense at its range's end is so only while the wire is shorted") {
    flag.kind = RigFlag::Kind::saturated;
    flag.port = wiring.line("manifold_pressure")->sense_in;
    const auto at = [&](double t) { return fault.slice().record.start + Nanoseconds{std::llround(t * 1e9)}; };
    flag.at = at(fault.on() + 0.010);
    fault.flags = {flag};
    CHECK(fault.find("spike", "charge_pressure").verdict != Verdict::void_);
    fault.flags.front().at = at(fault.off() + 0.200);
    CHECK(fault.find("spike", "charge_pressure").verdict == Verdict::void_);
  }
}

TEST_CASE("an input that stays away after the fault is no recovery", "[compile][fault]") {
  auto fault = open_wire();
  fault.in[kManifold] = Fault::at(0.02, fault.on() + kTravel, 99, fault.in[kManifold]);
  const auto finding = fault.find("recovery", "charge_pressure");
  CHECK(finding.verdict == Verdict::void_);
  CHECK_THAT(finding.reason, Contains("did not come back"));
  CHECK(fault.find("reaction", "charge_pressure").verdict == Verdict::pass);
}

TEST_CASE("a unit that passes through is not back on its table because nobody can tell the table", "[compile][fault]") {
  auto fault = open_wire(0.02, 99);
  const double from = fault.off() + 0.020;
  SECTION("the bench's rail is away") {
    fault.controller_rails = Fault::at(0, from, 99, fault.controller_rails);
    CHECK(fault.find("recovery", "charge_pressure").verdict == Verdict::void_);
  }
  SECTION("the rail that the module feeds is away") {
    fault.sensor_rails = Fault::at(0, from, 99, fault.sensor_rails);
    CHECK(fault.find("recovery", "charge_pressure").verdict == Verdict::undecided);
  }
  SECTION("it was away, and has been back for all of the time the unit has") {
    fault.sensor_rails = Fault::at(0, from, from + 0.010, fault.sensor_rails);
    CHECK(fault.find("recovery", "charge_pressure").verdict == Verdict::fail);
  }
}

TEST_CASE("an output that keeps its table is judged by what its own table depends on", "[compile][fault]") {
  const auto broken = [](const std::string& wire) {
    auto one = paper::fault_of(FaultKind::open, wire, ConnectorSide::sensor, OpenEnd::down);
    one.owed.others = {OutputMust::keep_table, {}};
    Fault fault{one};
    const std::size_t c = wire == "charge_pressure" ? kCharge : kManifold;
    fault.in[c] = Fault::at(0.02, fault.on() + kTravel, fault.off() + kTravel, fault.in[c]);
    return fault;
  };
  auto charge = broken("charge_pressure");
  CHECK(charge.find("reaction", "manifold_pressure").verdict == Verdict::pass);
  charge.out[kManifold] = charge.away(kManifold, charge.on() + 0.020, charge.off() + 0.5);
  CHECK(charge.find("reaction", "manifold_pressure").verdict == Verdict::fail);
  const auto finding = broken("manifold_pressure").find("reaction", "charge_pressure");
  CHECK(finding.verdict == Verdict::undecided);
  CHECK_THAT(finding.reason, Contains("cannot be told"));
}

TEST_CASE("a sensor's fault must be seen whatever its output is to do", "[compile][fault]") {
  auto one = paper::fault_of(FaultKind::open, "manifold_pressure", ConnectorSide::sensor, OpenEnd::down);
  one.owed.own = {OutputMust::keep_table, {}};
  Fault fault{one};
  fault.in[kManifold] = Fault::at(0.02, fault.on() + kTravel, fault.off() + kTravel, fault.in[kManifold]);
  CHECK(fault.find("never_hidden", "manifold_pressure").verdict == Verdict::fail);
}

TEST_CASE("a shift grows from where it last was nothing to where it first is whole", "[compile][fault]") {
  auto fault = open_wire();
  const double grown = fault.find("ramp_in", "charge_pressure").value;
  CHECK(grown == Approx(64).margin(3));
  const double late = fault.off() + 0.9, half = (fault.inputs[kCharge] + fault.tables[kCharge]) / 2;
  fault.out[kCharge] = Fault::at(half, late, late + 0.003, fault.out[kCharge]);
  CHECK(fault.find("ramp_in", "charge_pressure").value == grown);
}

TEST_CASE("a fault under way is named by the point at which it begins", "[compile][fault]") {
  auto one = paper::fault_of(FaultKind::open, "manifold_pressure", ConnectorSide::sensor, OpenEnd::down);
  one.during = FaultTransient{{Rpm{4500}, Kilopascals{160}}, Nanoseconds{400'000'000}};
  for (const auto& id : Fault{one}.step().characteristics()) {
    CHECK_THAT(id, Contains("3500"));
    CHECK_THAT(id, !Contains("4500"));
  }
}

TEST_CASE("a loss of the speed signal counts from its last edge, in intervals and time", "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::lost_edges, "speed")};
  // A four-lobe cam wheel: 180 degrees of the cycle between falling edges, 8.6 ms at 3500 rpm; three of them and 50 ms.
  CHECK(fault.deadline() == Approx(0.050 + 3 * 180 / 6.0 / 3500).margin(0.0005));
  const double on = fault.on(), off = fault.off();
  fault.edges = [=](double t) { return t < on || t >= off; };
  for (const auto c : {kCharge, kManifold}) fault.out[c] = fault.away(c, on + 0.030, off + 0.120);
  check_all_pass(fault);
  CHECK(fault.find("reaction", "charge_pressure").value > 30);
  CHECK(fault.find("reaction", "charge_pressure").value < 30 + 8.6);
}

TEST_CASE("a speed signal that goes on has not been lost", "[compile][fault]") {
  const Fault fault{paper::fault_of(FaultKind::lost_edges, "speed")};
  for (const auto& finding : fault.judge().findings) {
    CHECK(finding.verdict == Verdict::void_);
    CHECK_THAT(finding.reason, Contains("went on"));
  }
}

TEST_CASE("a program that stands still comes back by itself, and is timed from when it was made to",
          "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::hang, "")};
  for (const auto c : {kCharge, kManifold}) fault.out[c] = fault.away(c, fault.on() + 0.045, fault.on() + 0.300);
  check_all_pass(fault);
  CHECK(fault.find("recovery", "charge_pressure").value == Approx(300).margin(12));
}

TEST_CASE("what must latch stays fallen back until power is cycled", "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::intermittent, "manifold_pressure")};
  const double last = fault.on(), whole = fault.inputs[kManifold];
  fault.in[kManifold] = [=](double t) {
    for (int burst = 0; burst < 4; ++burst) {
      const double from = last - 0.640 * burst + kTravel;
      if (t >= from && t < from + 0.040) return 0.02;
    }
    return whole;
  };
  for (const auto c : {kCharge, kManifold}) fault.out[c] = fault.away(c, 0.045, 99);
  CHECK(fault.find("latched", "charge_pressure").verdict == Verdict::pass);
  fault.out[kCharge] = fault.away(kCharge, 0.045, last + 0.6);
  const auto finding = fault.find("latched", "charge_pressure");
  CHECK(finding.verdict == Verdict::fail);
  CHECK_THAT(finding.reason, Contains("should have latched"));
}

TEST_CASE("a loss of the battery counts from where it is below what the module needs", "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::open, "battery", ConnectorSide::controller)};
  const double broken = fault.on() + 0.002, whole = fault.off() + 0.002;
  fault.battery = Fault::at(0, broken, whole, fault.battery);
  for (const auto c : {kCharge, kManifold}) fault.out[c] = fault.away(c, broken + 0.004, whole + 0.35);
  check_all_pass(fault);
  CHECK(fault.find("reaction", "charge_pressure").value == Approx(4).margin(1.2));
}

TEST_CASE("the picture of a fault shows what was done, where outputs belong and when they came there",
          "[compile][fault]") {
  const auto fault = open_wire(0.020);
  const auto strips = fault.strips();
  REQUIRE(strips.size() == 1);
  const auto& strip = strips.front();
  CHECK_THAT(strip.title, Contains("manifold_pressure open, drawn down, at 3500 rpm, 200 kPa"));
  CHECK(strip.signals.size() == 4);
  for (const auto& signal : strip.signals) {
    CHECK(signal.low.size() == signal.high.size());
    CHECK(signal.low.size() > 100);
  }
  CHECK(strip.lanes.size() == 2);
  REQUIRE(strip.onset);
  REQUIRE(strip.deadline);
  CHECK(seconds(*strip.deadline - *strip.onset) == Approx(0.050).margin(1e-6));
  CHECK(strip.removed > strip.onset);
  CHECK(strip.length > *strip.removed);
}

TEST_CASE("an output that the bench itself shorts is not held against the unit by the ceiling", "[compile][fault]") {
  Fault fault{paper::fault_of(FaultKind::short_to_ground, "manifold_pressure", ConnectorSide::controller)};
  const auto& product = *fault.plan()->scenario.product;
  const double shorted = fault.on() + kTravel, whole = fault.off() + kTravel;
  fault.out[kManifold] = Fault::at(0.02, shorted, whole, fault.out[kManifold]);
  const auto watched = [&](std::vector<Disturbed> disturbed) {
    const auto watch = watch_ceiling(product, fault.plan()->bench, fault.plan()->tracks, std::move(disturbed));
    const std::vector<Reduction> reductions{watch->look(fault.slice(), fault.scales())};
    std::vector<Finding> findings = watch->conclude(reductions);
    return findings[kManifold].verdict;
  };
  CHECK(watched({}) == Verdict::fail);
  CHECK(watched(fault.step().disturbed()) == Verdict::pass);
  SECTION("but it is, as soon as the bench has let go") {
    fault.out[kManifold] = Fault::at(0.02, whole + 0.1, whole + 0.2, fault.out[kManifold]);
    CHECK(watched(fault.step().disturbed()) == Verdict::fail);
  }
}
