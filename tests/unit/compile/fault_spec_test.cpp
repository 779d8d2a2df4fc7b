#include "rig/compile/fault_spec.hpp"

#include <algorithm>

#include "rig/compile/fault_harm.hpp"
#include "rig/compile/fault_matrix.hpp"
#include "rig/compile/fault_plan.hpp"
#include "tests/unit/compile/shipped.hpp"

using namespace rig;
using Catch::Matchers::Contains;

namespace {

FaultCase of(FaultKind kind, const std::string& wire, ConnectorSide side = ConnectorSide::sensor) {
  FaultCase one;
  one.kind = kind, one.pin = {wire, side, {}};
  return one;
}
FaultCase touching(FaultPin a, FaultPin b) {
  FaultCase one;
  one.kind = FaultKind::joined, one.pin = std::move(a), one.joined_to = std::move(b);
  return one;
}

const Product& two_pressure() {
  static const auto scenario = shipped::end_of_line();
  return *scenario.product;
}

FaultSpec faults_of(const Scenario& scenario) {
  for (const auto& step : scenario.steps)
    if (const auto* faults = std::get_if<FaultSpec>(&step)) return *faults;
  FAIL("the scenario has no fault step");
  return {};
}

}  // namespace

TEST_CASE("of the rules that hold for a fault, the last one counts", "[compile][fault]") {
  std::vector<ReactionRule> rules(3);
  rules[1].faults = {FaultKind::open}, rules[1].wires = {"speed"};
  rules[2].faults = {FaultKind::open}, rules[2].side = ConnectorSide::controller;
  CHECK(owed_for(rules, of(FaultKind::open, "manifold_pressure")) == &rules[0]);
  CHECK(owed_for(rules, of(FaultKind::open, "speed")) == &rules[1]);
  CHECK(owed_for(rules, of(FaultKind::open, "speed", ConnectorSide::controller)) == &rules[2]);
  CHECK(owed_for(rules, of(FaultKind::worn, "speed", ConnectorSide::controller)) == &rules[0]);
  CHECK(owed_for({rules[1]}, of(FaultKind::worn, "speed")) == nullptr);
}

TEST_CASE("a wire that touches a ground is shorted to it, and the ground is not", "[compile][fault]") {
  std::vector<ReactionRule> rules(2);
  rules[0].faults = {FaultKind::joined};
  rules[1].faults = {FaultKind::short_to_ground}, rules[1].wires = {"manifold_pressure"};
  const FaultPin ground{"sensor_ground", ConnectorSide::sensor, "S3"};
  CHECK(owed_for(rules, touching({"manifold_pressure", ConnectorSide::sensor, "S6"}, ground)) == &rules[1]);
  CHECK(owed_for(rules, touching(ground, {"manifold_pressure", ConnectorSide::sensor, "S6"})) == &rules[1]);
  rules[1].wires = {"sensor_ground"};
  CHECK(owed_for(rules, touching({"manifold_pressure", ConnectorSide::sensor, "S6"}, ground)) == &rules[0]);
}

TEST_CASE("a short to battery is stress whatever a rule says, and so is a wire beside the battery's",
          "[compile][fault]") {
  CHECK(harm_of(of(FaultKind::short_to_battery, "manifold_pressure")) == Harm::stress);
  CHECK(harm_of(touching({"battery", ConnectorSide::controller, "C5"}, {"speed", ConnectorSide::controller, "C4"})) ==
        Harm::stress);
  CHECK(harm_of(of(FaultKind::short_to_ground, "manifold_pressure")) == Harm::harmless);
  auto owed = of(FaultKind::short_to_ground, "manifold_pressure");
  owed.owed.harm = Harm::stress;
  CHECK(harm_of(owed) == Harm::stress);
}

TEST_CASE("a scenario tells whether a unit may be sold after it", "[compile][fault]") {
  auto scenario = shipped::end_of_line();
  CHECK_FALSE(stresses(scenario));
  FaultSpec harsh;
  harsh.cases = {of(FaultKind::short_to_battery, "manifold_pressure")};
  scenario.steps.push_back(harsh);
  CHECK(stresses(scenario));
}

TEST_CASE("what makes no sense is said in words", "[compile][fault]") {
  const auto& product = two_pressure();
  CHECK_THAT(senseless(product, of(FaultKind::short_to_ground, "sensor_ground")), Contains("a ground to ground"));
  CHECK_THAT(senseless(product, of(FaultKind::short_to_ground, "battery", ConnectorSide::controller)),
             Contains("only the bench's own current limit"));
  CHECK_THAT(senseless(product, touching({"ground", ConnectorSide::controller, "C3"},
                                         {"ground", ConnectorSide::controller, "C10"})),
             Contains("a ground to a ground"));
  CHECK_THAT(senseless(product, of(FaultKind::out_of_range, "battery", ConnectorSide::controller)),
             Contains("comes from no sensor"));
  CHECK_THAT(senseless(product, of(FaultKind::worn, "service", ConnectorSide::controller)), Contains("service"));
  CHECK(senseless(product, of(FaultKind::open, "sensor_ground")).empty());
}

TEST_CASE("every pair of neighbours is met once", "[compile][fault]") {
  const auto pairs = neighbours_of(two_pressure(), ConnectorSide::sensor);
  // From the drawing: S1-S2, S1-S5, S2-S3, S2-S6, S3-S4, S3-S7, S4-S8, S5-S6, S6-S7, S7-S8.
  CHECK(pairs.size() == 10);
  CHECK(std::count_if(pairs.begin(), pairs.end(),
                      [](const auto& pair) { return pair.first.name == "S2" && pair.second.name == "S6"; }) == 1);
}

TEST_CASE("sensors without their ground give their rail, without their supply nothing", "[compile][fault]") {
  const auto& product = two_pressure();
  CHECK(sensors_behind(product, of(FaultKind::open, "sensor_ground")) == std::vector<std::size_t>{0, 1, 2});
  CHECK(sensors_behind(product, of(FaultKind::open, "rail_5v_2")) == std::vector<std::size_t>{1});
  CHECK(sensors_behind(product, of(FaultKind::open, "rail_5v_2", ConnectorSide::controller)).empty());
}

TEST_CASE("the shipped matrices visit every line on either side", "[compile][fault]") {
  for (const auto& scenario : {shipped::end_of_line(), shipped::one_pressure()}) {
    const auto faults = faults_of(scenario);
    const auto done = [&](FaultKind kind, const std::string& wire) {
      return std::any_of(faults.cases.begin(), faults.cases.end(),
                         [&](const FaultCase& one) { return one.kind == kind && one.pin.carries == wire; });
    };
    CAPTURE(scenario.name);
    for (const auto& channel : scenario.product->pressures) {
      CHECK(done(FaultKind::open, channel.name));
      CHECK(done(FaultKind::short_to_ground, channel.name));
      CHECK(done(FaultKind::short_to_reference, channel.name));
      CHECK(done(FaultKind::out_of_range, channel.name));
    }
    for (const auto& rail : scenario.product->rails) CHECK(done(FaultKind::open, rail.name));
    for (const auto* wire : {"speed", "battery", "ground", "bypass_request"}) CHECK(done(FaultKind::open, wire));
    for (const auto& one : faults.cases) CHECK(harm_of(one) == Harm::harmless);
  }
}

TEST_CASE("a fault lasts until its deadline and a little longer", "[compile][fault]") {
  const auto bench = shipped::emulated_bench();
  auto one = of(FaultKind::open, "manifold_pressure");
  one.owed.deadline = {0, Nanoseconds{50'000'000}};
  const auto times = times_of(two_pressure(), bench, one);
  CHECK(times.reaction_due());
  CHECK(times.travel == Nanoseconds{4'000'000});
  CHECK(times.off - times.on == Nanoseconds{94'000'000});
  one.lasts = Nanoseconds{10'000'000};
  CHECK_FALSE(times_of(two_pressure(), bench, one).reaction_due());
}

TEST_CASE("a bench that cannot do a fault says which relay it lacks", "[compile][fault]") {
  auto bench = shipped::emulated_bench();
  CHECK(ports_of(two_pressure(), bench, of(FaultKind::short_to_ground, "manifold_pressure")).missing.empty());
  bench.wiring.faults.ground.reset();
  CHECK_THAT(ports_of(two_pressure(), bench, of(FaultKind::short_to_ground, "manifold_pressure")).missing,
             Contains("ties the fault bus to ground"));
  bench.wiring.faults = {};
  CHECK_THAT(ports_of(two_pressure(), bench, of(FaultKind::open, "battery", ConnectorSide::controller)).missing,
             Contains("breaks this wire"));
}
