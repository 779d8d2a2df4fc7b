// What is known of a run beforehand: from the store, kept with the run.
#include "rig/cli/run_facts.hpp"

#include "tests/unit/compile/shipped.hpp"
#include "tests/unit/store/store_fixture.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;
using test::Folder;

Scenario with_contacts(bool plug = false) {
  auto scenario = shipped::end_of_line();
  std::erase_if(scenario.steps, [](const StepSpec& step) { return std::holds_alternative<ContactsSpec>(step); });
  scenario.steps.emplace_back(ContactsSpec{});
  auto product = *scenario.product;
  product.straight_through = plug;
  scenario.product = std::make_shared<const Product>(std::move(product));
  if (plug) scenario.purpose = Purpose::bench;
  return scenario;
}

/// A store on which runs are laid with the facts that the program would keep.
struct Lay {
  Folder folder;
  StoreWriter writer{folder.store()};

  RunNumber run(const Scenario& scenario, const std::string& serial, const std::string& bench, Verdict verdict,
                RunEnd end = RunEnd::completed, WallTime at = wall_time_now()) {
    RunOpened opened;
    opened.serial = serial;
    opened.product = scenario.product->name;
    opened.scenario = scenario.name;
    opened.bench = bench;
    opened.purpose = scenario.purpose == Purpose::bench ? "bench" : "end_of_line";
    opened.opened_at = at;
    opened.inputs = {{kFactsRole, "facts.json", facts_json(facts_without_store(scenario, serial)), {}}};
    const auto number = writer.open_run(opened).number;
    Finding contact;
    contact.id = "contacts/ground";
    contact.step = "contacts";
    contact.in = "ohm";
    contact.value = 0.04;
    contact.verdict = end == RunEnd::reseat ? Verdict::void_ : Verdict::pass;
    if (end == RunEnd::reseat || end == RunEnd::completed) writer.add_finding(number, contact);
    RunClosed closed;
    closed.run = number;
    closed.verdict = verdict;
    closed.end = end;
    writer.close_run(closed);
    return number;
  }
  RunNumber reseat(const std::string& serial, const std::string& bench) {
    return run(with_contacts(), serial, bench, Verdict::void_, RunEnd::reseat);
  }
  RunNumber plug(const std::string& bench, Verdict verdict = Verdict::pass, WallTime at = wall_time_now()) {
    return run(with_contacts(true), "PLUG-1", bench, verdict, RunEnd::completed, at);
  }
  void new_fixture(const std::string& bench) {
    writer.wait(writer.add_audit({"A. Keeper", kNewFixture, bench, "pins worn", {}}));
  }
  RunFacts facts(const std::string& serial, const std::string& bench, std::vector<std::string>* told = nullptr) {
    std::vector<std::string> remarks;
    BenchSetup setup;
    setup.name = bench;
    auto kept = gather_facts(StoreReader{folder.store()}, with_contacts(), setup, serial, wall_time_now(), remarks);
    if (told) *told = remarks;
    return kept.facts;
  }
};

}  // namespace

TEST_CASE("facts come back from the store as they were, to the last digit", "[cli][facts]") {
  auto known = facts_without_store(with_contacts(), "T00101");
  known.facts.reseats = 3;
  known.facts.plug_cleared = true;
  known.facts.baseline = Baseline{"01a2", {{"contacts/ground", 1.0 / 3}, {"speed_line/low", 0.1 + 0.2}}};
  const auto back = facts_from_json(facts_json(known));
  REQUIRE(back);
  CHECK(back->facts.serial == "T00101");
  CHECK(back->facts.reseats == 3);
  CHECK(back->facts.plug_cleared);
  REQUIRE(back->facts.baseline);
  CHECK(back->facts.baseline->run == "01a2");
  CHECK(back->facts.baseline->values == known.facts.baseline->values);
  CHECK(back->lines == known.lines);
  CHECK(back->fit_steps == std::vector<std::string>{"contacts"});
  CHECK_FALSE(facts_from_json("{}"));
  CHECK_FALSE(facts_from_json("not json"));
}

TEST_CASE("re-seats just before count, on this bench, until a run says something of the unit", "[cli][facts]") {
  Lay lay;
  CHECK(lay.facts("T00101", "left").reseats == 0);
  lay.reseat("T00101", "left");
  lay.reseat("T00101", "right");  // another fixture
  lay.reseat("T00101", "left");
  lay.reseat("T00999", "left");
  CHECK(lay.facts("T00101", "left").reseats == 2);
  lay.run(with_contacts(), "T00101", "left", Verdict::void_, RunEnd::stopped);  // it told nothing
  CHECK(lay.facts("T00101", "left").reseats == 2);
  lay.run(with_contacts(), "T00101", "left", Verdict::fail);
  CHECK(lay.facts("T00101", "left").reseats == 0);
}

TEST_CASE("the plug clears the bench on which it passed since the first re-seat, and no other", "[cli][facts]") {
  Lay lay;
  lay.plug("left");
  lay.reseat("T00101", "left");
  CHECK_FALSE(lay.facts("T00101", "left").plug_cleared);
  lay.reseat("T00101", "left");
  lay.plug("left");
  CHECK(lay.facts("T00101", "left").plug_cleared);
  CHECK_FALSE(lay.facts("T00101", "right").plug_cleared);
  CHECK_FALSE(lay.facts("T00555", "left").plug_cleared);
  lay.new_fixture("left");
  CHECK_FALSE(lay.facts("T00101", "left").plug_cleared);
}

TEST_CASE("after so many re-seats people are told what to do", "[cli][facts]") {
  Lay lay;
  std::vector<std::string> told;
  lay.plug("left");
  lay.reseat("T00101", "left");
  lay.facts("T00101", "left", &told);
  CHECK(told.empty());
  lay.reseat("T00101", "left");
  lay.facts("T00101", "left", &told);
  REQUIRE(told.size() == 1);
  CHECK_THAT(told.front(), Catch::Contains("run the straight-through plug on this bench"));
  lay.plug("left");
  lay.facts("T00101", "left", &told);
  REQUIRE(told.size() == 1);
  CHECK_THAT(told.front(), Catch::Contains("held against the unit"));
}

TEST_CASE("the plug's last passing run on this bench is the baseline, for 16 hours", "[cli][facts]") {
  Lay lay;
  std::vector<std::string> told;
  CHECK_FALSE(lay.facts("T00101", "left", &told).baseline);
  REQUIRE(told.size() == 1);
  CHECK_THAT(told.front(), Catch::Contains("no reading of a straight-through plug is in force on bench 'left'"));

  lay.plug("left", Verdict::pass, wall_time_now() - 17h);
  CHECK_FALSE(lay.facts("T00101", "left").baseline);
  lay.plug("left", Verdict::pass, wall_time_now() - 15h);
  lay.plug("left", Verdict::fail);
  lay.plug("right");
  const auto facts = lay.facts("T00101", "left", &told);
  REQUIRE(facts.baseline);
  CHECK(facts.baseline->find("contacts/ground") == 0.04);
  CHECK(told.empty());
}

TEST_CASE("a baseline is of the fixture that is mounted now", "[cli][facts]") {
  Lay lay;
  lay.plug("left");
  REQUIRE(lay.facts("T00101", "left").baseline);
  lay.new_fixture("left");
  CHECK_FALSE(lay.facts("T00101", "left").baseline);
}

TEST_CASE("a plug of other connectors is no baseline", "[cli][facts]") {
  Lay lay;
  auto other = with_contacts(true);
  auto product = *other.product;
  product.pressures.pop_back();
  other.product = std::make_shared<const Product>(product);
  lay.run(other, "PLUG-2", "left", Verdict::pass);
  CHECK_FALSE(lay.facts("T00101", "left").baseline);
}

TEST_CASE("a unit's own passing run is no baseline", "[cli][facts]") {
  Lay lay;
  lay.run(with_contacts(), "T00100", "left", Verdict::pass);
  CHECK_FALSE(lay.facts("T00101", "left").baseline);
}
