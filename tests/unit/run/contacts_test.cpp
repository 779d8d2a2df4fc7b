// How the unit sits in the fixture, found before any power.
#include "tests/unit/run/fit_steps.hpp"

namespace {
using namespace rig;
}

namespace {

Outcome contacts(const std::vector<std::string>& defects, const std::vector<std::string>& troubles = {},
                 const RunFacts& facts = {}, Scenario like = shipped::end_of_line()) {
  const auto scenario = fit::only({ContactsSpec{}}, std::move(like));
  const auto bench = shipped::emulated_bench();
  auto compiled = compile(scenario, bench, capabilities_of(bench), facts);
  REQUIRE(compiled.plan);
  drivers::EmulatedUnit unit{"U-1", {}, false};
  for (const auto& text : defects) unit.defects.push_back(std::get<drivers::Defect>(drivers::parse_defect(text)));
  std::vector<drivers::BenchTrouble> broken;
  for (const auto& text : troubles)
    broken.push_back(std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text)));
  const auto driver = drivers::open_emulated(bench, scenario.product, unit, broken);
  RunListener nobody;
  return run(*compiled.plan, *driver, nobody);
}

bool says(const std::string& text, const std::string& part) { return text.find(part) != std::string::npos; }

}  // namespace

TEST_CASE("a good unit sits well: every resistance is what fixture, relays and copper add up to", "[run][contacts]") {
  for (const auto& product : {shipped::end_of_line(), shipped::one_pressure()}) {
    const auto outcome = contacts({}, {}, {}, product);
    CHECK(fit::not_passed(outcome) == "");
    // The isolator's contact on both sides, two of the fixture's, the bypass contact of 1 +- 0.5 ohm.
    const auto& through = fit::find(outcome, "contacts/through/manifold_pressure");
    CHECK(through.value == Approx(1.24).margin(0.6 + through.uncertainty));
    CHECK(through.uncertainty < 0.5);
    CHECK(fit::find(outcome, "contacts/rail/rail_5v").value == Approx(0.34).margin(0.15));
    CHECK(fit::find(outcome, "contacts/ground").value == Approx(0.045).margin(0.02));
  }
}

TEST_CASE("a worn contact of the fixture is a matter of the fit, and its pins are named", "[run][contacts]") {
  const auto place = GENERATE(as<std::string>{}, "charge_pressure", "manifold_pressure", "intake_temperature",
                              "rail_5v", "rail_5v_2", "ground", "speed");
  const auto outcome = contacts({}, {"worn_contact=" + place + ":30"});
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.reseat);
  const auto& bad = *std::find_if(outcome.findings.begin(), outcome.findings.end(),
                                  [](const Finding& f) { return f.verdict != Verdict::pass; });
  CHECK(says(bad.id, place));
  CHECK(says(bad.reason, "re-seat the connector and test again"));
  if (place == "charge_pressure") CHECK(says(bad.reason, "pin S2 or C2"));
}

TEST_CASE("a contact stays a matter of the fit until it was re-seated and a plug has cleared the fixture",
          "[run][contacts]") {
  const std::vector<std::string> bad{"leaky_bypass=1000@manifold_pressure"};
  CHECK(contacts(bad).reseat);
  RunFacts facts;
  facts.reseats = 2;
  CHECK(contacts(bad, {}, facts).reseat);
  facts.plug_cleared = true;
  const auto outcome = contacts(bad, {}, facts);
  CHECK(outcome.verdict == Verdict::fail);
  CHECK_FALSE(outcome.reseat);
  const auto& through = fit::find(outcome, "contacts/through/manifold_pressure");
  CHECK(through.verdict == Verdict::fail);
  CHECK(through.value == Approx(1000).epsilon(0.02));
  CHECK(says(through.reason, "the fault is in the unit"));
  facts.reseats = 1;
  CHECK(contacts(bad, {}, facts).reseat);
}

TEST_CASE("an open line reads more ohms than any limit", "[run][contacts]") {
  const auto outcome = contacts({"no_bypass@charge_pressure"});
  CHECK(outcome.reseat);
  CHECK(fit::find(outcome, "contacts/through/charge_pressure").value > 1e5);
  CHECK(says(fit::find(outcome, "contacts/through/charge_pressure").reason, "charge_pressure is open"));
  CHECK(fit::find(outcome, "contacts/through/manifold_pressure").verdict == Verdict::pass);
}

TEST_CASE("a sense that is not connected is void before any power", "[run][contacts]") {
  const auto place = GENERATE(as<std::string>{}, "charge_in", "charge_out", "temperature_out", "rail_sensor",
                              "rail_2_controller", "ground_sense", "speed_out", "speed_in");
  const auto outcome = contacts({}, {"opened_sense=" + place});
  INFO(place << "\n" << fit::not_passed(outcome));
  CHECK(outcome.verdict == Verdict::void_);
}

TEST_CASE("an isolator that does not close leaves every line open", "[run][contacts]") {
  const auto outcome = contacts({}, {"stuck_relay=isolator"});
  CHECK(outcome.reseat);
  for (const char* line : {"charge_pressure", "manifold_pressure", "intake_temperature"})
    CHECK(fit::find(outcome, std::string{"contacts/through/"} + line).verdict == Verdict::void_);
  CHECK(fit::find(outcome, "contacts/through/charge_pressure").reason.find("the isolator 'isolator'") !=
        std::string::npos);
}

TEST_CASE("before a unit has shown that it sits well, nothing puts more than a volt on it", "[run][contacts]") {
  const auto bench = shipped::emulated_bench();
  const auto compiled = compile(fit::only({ContactsSpec{}}), bench, capabilities_of(bench));
  REQUIRE(compiled.plan);
  const auto& segments = compiled.plan->steps.front()->segments();
  std::vector<double> level(bench.ports.size(), 0);
  for (std::size_t i = 0; i + 1 < segments.size(); ++i) {  // the last one restores the speed line's pull-up
    for (const auto& event : segments[i].events)
      if (const auto* set = std::get_if<SetOutput>(&event.action))
        level[index(set->port)] = std::holds_alternative<Volts>(set->to) ? std::get<Volts>(set->to).value() : 0;
    for (const auto volts : level) CHECK(volts <= 1.0);
  }
}
