// How a bench fares: its fixture's contacts from run to run.
#include "rig/cli/bench_state.hpp"

#include "rig/cli/run_facts.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

namespace {

using namespace rig;
using test::Folder;

RunNumber mate(StoreWriter& writer, double ohm, RunEnd end = RunEnd::completed, Verdict verdict = Verdict::pass,
               const std::string& product = "two-pressure", Verdict contact = Verdict::pass) {
  auto opened = test::some_run();
  opened.bench = "left";
  opened.product = product;
  const auto run = writer.open_run(opened).number;
  Finding finding;
  finding.id = "contacts/through/charge_pressure";
  finding.step = "contacts";
  finding.in = "ohm";
  finding.value = ohm;
  finding.verdict = end == RunEnd::reseat ? Verdict::void_ : contact;
  writer.add_finding(run, finding);
  RunClosed closed;
  closed.run = run;
  closed.verdict = verdict;
  closed.end = end;
  writer.close_run(closed);
  return run;
}

std::vector<double> steady(std::size_t count, double ohm) { return std::vector<double>(count, ohm); }

}  // namespace

TEST_CASE("a contact that rises by more than half is named, one that scatters is not", "[cli][bench]") {
  auto rising = steady(20, 0.2);
  for (int i = 0; i < 20; ++i) rising.push_back(0.4);
  const auto trend = contact_trend("contacts/ground", "ohm", rising);
  CHECK(trend.first == 0.2);
  CHECK(trend.last == 0.4);
  CHECK(trend.rises);

  auto scattered = steady(30, 0.2);
  scattered[3] = 5, scattered[28] = 7;  // a median does not mind
  CHECK_FALSE(contact_trend("contacts/ground", "ohm", scattered).rises);
  CHECK_FALSE(contact_trend("contacts/ground", "ohm", {0.02, 0.06}).rises);  // milliohms
  CHECK_FALSE(contact_trend("contacts/ground", "ohm", {0.2}).rises);
  CHECK(contact_trend("contacts/ground", "ohm", {0.2, 0.2, 0.4, 0.4}).rises);
}

TEST_CASE("only the first and the last runs make a trend", "[cli][bench]") {
  auto readings = steady(20, 0.1);
  for (int i = 0; i < 100; ++i) readings.push_back(3);
  for (int i = 0; i < 20; ++i) readings.push_back(0.12);
  const auto trend = contact_trend("contacts/ground", "ohm", readings);
  CHECK(trend.first == 0.1);
  CHECK(trend.last == 0.12);
  CHECK_FALSE(trend.rises);
}

TEST_CASE("a bench's state counts matings, re-seats and voids since its fixture was mounted", "[cli][bench]") {
  Folder folder;
  StoreWriter writer{folder.store()};
  mate(writer, 0.5);
  writer.wait(writer.add_audit({"A. Keeper", kNewFixture, "left", "pins worn", {}}));
  mate(writer, 0.2);
  mate(writer, 12, RunEnd::reseat, Verdict::void_);
  mate(writer, 0.2, RunEnd::fault, Verdict::void_);
  mate(writer, 0.3);
  const auto state = bench_state(StoreReader{folder.store()}, "left", "", wall_time_now());
  CHECK(state.matings == 4);
  REQUIRE(state.fixture);
  CHECK(state.fixture->detail == "pins worn");
  CHECK(state.reseats == 1);
  CHECK(state.voids == 1);
  REQUIRE(state.contacts.size() == 1);
  CHECK(state.contacts[0].readings == 3);  // a unit that does not sit says nothing of the fixture
  CHECK(state.contacts[0].latest == 0.3);
  CHECK_FALSE(state.baseline);
  CHECK(bench_state(StoreReader{folder.store()}, "right", "", wall_time_now()).matings == 0);
}

TEST_CASE("a unit's own bad pin and a plug's bare copper are no trend of the fixture", "[cli][bench]") {
  Folder folder;
  StoreWriter writer{folder.store()};
  mate(writer, 0.1, RunEnd::completed, Verdict::pass, "plug");
  mate(writer, 1.1);
  mate(writer, 1.1);
  mate(writer, 31, RunEnd::completed, Verdict::fail, "two-pressure", Verdict::fail);
  const auto state = bench_state(StoreReader{folder.store()}, "left", "", wall_time_now());
  REQUIRE(state.contacts.size() == 1);
  CHECK(state.contacts[0].product == "two-pressure");
  CHECK(state.contacts[0].readings == 2);
  CHECK_FALSE(state.contacts[0].rises);
}
