// What is kept of a run beside its findings, and how it is shown.
#include "rig/cli/run_notes.hpp"

#include "rig/cli/run_json.hpp"
#include "rig/cli/terminal.hpp"
#include "tests/unit/catch.hpp"

namespace {

using namespace rig;

RunEvent event(std::string kind, std::string text, std::string who = {}) {
  RunEvent one;
  one.kind = std::move(kind);
  one.text = std::move(text);
  one.who = std::move(who);
  return one;
}

const std::vector<RunEvent> kEvents{event("identity", "serial: T00101"),
                                    event("identity", "table: 77ab12"),
                                    event("identity", "firmware: 4f1c09"),
                                    event("surroundings", "ambient: 22.4 degC"),
                                    event("after void", "the cable was loose", "Ann"),
                                    event("program", "load --all: exit code 0\nwriting\ndone\n")};

StoredRun closed_as(Verdict verdict, RunEnd end) {
  StoredRun run;
  run.opened.serial = "T00101";
  run.opened.attempt = 3;
  run.reseats = 2;
  run.closed.emplace();
  run.closed->verdict = verdict;
  run.closed->end = end;
  return run;
}

}  // namespace

TEST_CASE("a verdict is about the software the module said it carries", "[cli][notes]") {
  CHECK(software_in_words(kEvents) == "firmware 4f1c09, table 77ab12");
  CHECK(software_in_words({}).empty());
}

TEST_CASE("what the module and the room said is kept apart from what happened", "[cli][notes]") {
  CHECK(event_kind_of({"firmware", "4f1c09"}) == "identity");
  CHECK(event_kind_of({"ambient", "22.4 degC"}) == "surroundings");
  CHECK(event_kind_of({"fixture", "24.0 degC"}) == "surroundings");
  CHECK(noted(kEvents, "surroundings") == std::vector<std::pair<std::string, std::string>>{{"ambient", "22.4 degC"}});
  CHECK(
      other_events(kEvents) ==
      std::vector<std::string>{"after void: the cable was loose (Ann)",
                               "program: load --all: exit code 0 [what it printed is kept with the run: show --json]"});
}

TEST_CASE("a re-seat has a word and a shape of its own, and stays void to a script", "[cli][notes]") {
  const auto reseat = closed_as(Verdict::void_, RunEnd::reseat);
  CHECK(verdict_word(*reseat.closed) == "RE-SEAT");
  CHECK(verdict_words(*reseat.closed, false) != verdict_words(*closed_as(Verdict::void_, RunEnd::fault).closed, false));
  const auto json = to_json(reseat, {}, kEvents, true);
  CHECK(json["verdict"] == "void");
  CHECK(json["shown_as"] == "RE-SEAT");
  CHECK(json["end"] == "reseat");
  CHECK(json["attempt"] == 3);
  CHECK(json["reseats"] == 2);
  CHECK(json["retest_due"] == true);
  CHECK(json["identity"]["firmware"] == "4f1c09");
  CHECK(json["surroundings"]["ambient"] == "22.4 degC");
  CHECK(json["events"].size() == kEvents.size());
}

TEST_CASE("every verdict has its word", "[cli][notes]") {
  CHECK(verdict_word(*closed_as(Verdict::pass, RunEnd::completed).closed) == "PASS");
  CHECK(verdict_word(*closed_as(Verdict::fail, RunEnd::completed).closed) == "FAIL");
  CHECK(verdict_word(*closed_as(Verdict::undecided, RunEnd::completed).closed) == "UNDECIDED");
  CHECK(verdict_word(*closed_as(Verdict::void_, RunEnd::stopped).closed) == "VOID");
}
