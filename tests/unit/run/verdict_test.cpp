#include "rig/run/verdict.hpp"

#include "tests/unit/catch.hpp"

namespace {

using namespace rig;

Finding finding(std::string id, Verdict verdict, std::string reason = {}) {
  Finding f;
  f.id = std::move(id);
  f.verdict = verdict;
  f.reason = std::move(reason);
  f.low = -1, f.high = 1, f.margin = verdict == Verdict::fail ? -1.0 : 0.5;
  return f;
}

const Finding kPass = finding("sweep/manifold_pressure@3500rpm,180kPa", Verdict::pass);
const Finding kFail = finding("sweep/manifold_pressure@3600rpm,180kPa", Verdict::fail, "reads 3 kPa high");
const Finding kVoid = finding("sweep/manifold_pressure@3700rpm,180kPa", Verdict::void_, "readings were lost");
const Finding kDoubt = finding("sweep/manifold_pressure@3800rpm,180kPa", Verdict::undecided, "too near the limit");

Verdict verdict_of(std::vector<Finding> findings, RigHealth health = {}) {
  return conclude_run(findings, health).verdict;
}

}  // namespace

TEST_CASE("a run passes only when every finding passes", "[run][verdict]") {
  CHECK(verdict_of({kPass, kPass}) == Verdict::pass);
  CHECK(verdict_of({kPass, kFail}) == Verdict::fail);
  CHECK(verdict_of({kPass, kDoubt}) == Verdict::undecided);
  CHECK(verdict_of({kPass, kVoid}) == Verdict::void_);
}

TEST_CASE("a run in which nothing was measured is void, never a pass", "[run][verdict]") {
  CHECK(verdict_of({}) == Verdict::void_);
}

TEST_CASE("a fail outranks a void, and a void outranks doubt", "[run][verdict]") {
  CHECK(verdict_of({kVoid, kFail, kDoubt}) == Verdict::fail);
  CHECK(verdict_of({kVoid, kDoubt}) == Verdict::void_);
}

TEST_CASE("a fault of the rig voids the run, whatever was found before", "[run][verdict]") {
  CHECK(verdict_of({kFail}, {"the link is dead", true}) == Verdict::void_);
  CHECK(conclude_run(std::vector{kFail}, {"the link is dead", true}).reason == "the link is dead");
}

TEST_CASE("a self-test that did not pass voids the run, whatever was found of the unit", "[run][verdict]") {
  CHECK(verdict_of({kFail, kVoid}, {"", false}) == Verdict::void_);
}

TEST_CASE("the reason names what is dangerous first, how often it happened and the worst place", "[run][verdict]") {
  auto worse = kFail;
  worse.id = "sweep/manifold_pressure@4000rpm,200kPa";
  worse.margin = -3;
  worse.reason = "reads 5 kPa high";
  const auto bypass =
      finding("pass_through/unpowered/manifold_pressure@80kPa", Verdict::fail, "the bypass is not made");
  const auto reason = conclude_run(std::vector{kFail, worse, bypass}, {}).reason;
  CHECK(reason ==
        "pass through, unpowered, manifold pressure at 80 kPa: the bypass is not made. Set the unit aside; "
        "sweep, manifold pressure at 4000 rpm, 200 kPa (2 times, worst here): reads 5 kPa high");
}

TEST_CASE("the first sentence of a reason says what is wrong and what to do", "[run][verdict]") {
  const auto headline = [](std::vector<Finding> findings, RigHealth health = {}) {
    const auto reason = conclude_run(findings, health).reason;
    return reason.substr(0, reason.find("; "));
  };
  auto contact = finding("contacts/through/charge_pressure", Verdict::void_,
                         "re-seat the connector and test again: reads 12 ohm, allowed at most 10 ohm");
  auto ground = finding("contacts/ground", Verdict::void_, "reads 3 ohm, allowed at most 0.2 ohm");
  CHECK(headline({contact, ground}, {"", true, true, {}}) ==
        "the unit does not sit well in the fixture: contacts, through, charge pressure: reads 12 ohm, allowed at most "
        "10 ohm. Take it out, look at the pins on both sides, re-seat the connector and test again");
  CHECK(headline({kFail, kVoid}) ==
        "sweep, manifold pressure at 3600 rpm, 180 kPa: reads 3 kPa high. Set the unit aside");
  CHECK(headline({kVoid}) ==
        "sweep, manifold pressure at 3700 rpm, 180 kPa: readings were lost. Mend that, then run the unit again");
  CHECK(headline({kDoubt}) == "sweep, manifold pressure at 3800 rpm, 180 kPa: too near the limit. Run the unit again");
  CHECK(headline({kVoid}, {"", false, false, {}}) ==
        "the bench failed its own test, so the unit was not judged: sweep, manifold pressure at 3700 rpm, 180 kPa: "
        "readings were lost. Mend the bench, then run the unit again");
  CHECK(headline({kVoid, kFail}, {"", true, false, "rail_5v is asked for 5.00 V and reads 3.50 V"}) ==
        "unit disturbs the bench: rail 5v is asked for 5.00 V and reads 3.50 V, and the bench is well once the unit is "
        "cut off. Set the unit aside");
}

TEST_CASE("a place that is a level is said in words too", "[run][verdict]") {
  const auto level = finding("self_test/in/charge_pressure@0.5V", Verdict::void_, "reads 0.05 V high");
  CHECK(conclude_run(std::vector{level}, {}).reason ==
        "self test, in, charge pressure at 0.5 V: reads 0.05 V high. Mend that, then run the unit again");
}

TEST_CASE("a reason says names in words, but for what stands in quotes", "[run][verdict]") {
  const auto reason = [](std::string text) {
    return conclude_run(std::vector{finding("a/b", Verdict::fail, std::move(text))}, {}).reason;
  };
  CHECK(reason("charge_pressure did not settle") == "a, b: charge pressure did not settle. Set the unit aside");
  CHECK(reason("open; re-seated 2 times") == "a, b: open, re-seated 2 times. Set the unit aside");
  CHECK(reason("the bench's source 'charge_source' of charge_pressure") ==
        "a, b: the bench's source 'charge_source' of charge pressure. Set the unit aside");
}

TEST_CASE("a re-seat outranks a disturbance, a fault of the rig outranks both", "[run][verdict]") {
  CHECK(verdict_of({kVoid, kFail}, {"", true, true, "it pulls"}) == Verdict::void_);
  CHECK(verdict_of({kVoid}, {"", true, false, "it pulls"}) == Verdict::fail);
  CHECK(verdict_of({kVoid}, {"", false, false, "it pulls"}) == Verdict::void_);
  CHECK(verdict_of({kVoid}, {"the link is dead", true, false, "it pulls"}) == Verdict::void_);
}

TEST_CASE("a label is for a pass at end of line, and for nothing else", "[run][verdict]") {
  CHECK(may_label(Verdict::pass, false, Purpose::end_of_line));
  for (const auto verdict : {Verdict::fail, Verdict::undecided, Verdict::void_})
    CHECK_FALSE(may_label(verdict, false, Purpose::end_of_line));
  CHECK_FALSE(may_label(Verdict::void_, true, Purpose::end_of_line));
  CHECK_FALSE(may_label(Verdict::pass, true, Purpose::end_of_line));
  for (const auto purpose : {Purpose::regression, Purpose::trial, Purpose::bench})
    CHECK_FALSE(may_label(Verdict::pass, false, purpose));
}
