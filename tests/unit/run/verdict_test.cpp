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
        "pass through, unpowered, manifold pressure at 80 kPa: the bypass is not made; "
        "sweep, manifold pressure at 4000 rpm, 200 kPa (2 times, worst here): reads 5 kPa high");
}
