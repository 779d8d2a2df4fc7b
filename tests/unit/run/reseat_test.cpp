// A unit that does not sit well: the run ends at once, before any power, and says what to do.
#include "tests/unit/run/made_up_plan.hpp"

namespace {

using namespace made_up;

/// A look at the contacts that ends as told, then a powered step that must never be reached.
Builder contacts_then_power(std::vector<Finding> findings, std::optional<std::uint32_t>* segment = nullptr) {
  Says contacts;
  contacts.of_the_fit = true;
  contacts.judge = [segment](std::size_t, const Slice& slice) {
    if (segment) *segment = slice.record.id;
    return Judged{};
  };
  contacts.conclude = [findings] { return findings; };
  Builder builder;
  builder.step("contacts", still, contacts);
  builder.step("power", powered, {});
  builder.closing_self_test();
  return builder;
}

Outcome play(
    const Plan& plan, RunListener& listener, const Change& change = [](int, Chunk&) {}) {
  ChangedBench bench{plan, change};
  return run(plan, bench, listener);
}

}  // namespace

TEST_CASE("a void about how the unit sits ends the run at once, unpowered, as a re-seat", "[run][reseat]") {
  auto builder = contacts_then_power({found("contacts", Verdict::void_, "reads 12 ohm, allowed at most 10 ohm")});
  Watching watching;
  const auto outcome = play(builder.plan(), watching);
  CHECK(outcome.reseat);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.end.outputs_safe);
  CHECK(outcome.end.reason == EndState::Reason::completed);
  CHECK(outcome.segments_played == 1);
  CHECK_FALSE(watching.slices.contains("power"));
  CHECK(outcome.findings.size() == 1);
  CHECK(outcome.reason ==
        "the unit does not sit well in the fixture: contacts, it: reads 12 ohm, allowed at most 10 ohm. Take it out, "
        "look at the pins on both sides, re-seat the connector and test again");
}

TEST_CASE("a fail about how the unit sits ends the run as a fail, the bench tested without it", "[run][reseat]") {
  auto builder = contacts_then_power({found("contacts", Verdict::fail, "the unit's own contact is worn"),
                                      found("contacts", Verdict::void_, "another")});
  Watching watching;
  const auto outcome = play(builder.plan(), watching);
  CHECK_FALSE(outcome.reseat);
  CHECK(outcome.verdict == Verdict::fail);
  CHECK_FALSE(watching.slices.contains("power"));
  CHECK(watching.slices.contains("self_test_closing"));
  CHECK(outcome.reason == "contacts, it: the unit's own contact is worn. Set the unit aside");
}

TEST_CASE("a fail about how the unit sits is void when the bench itself is not well", "[run][reseat]") {
  auto builder = contacts_then_power({found("contacts", Verdict::fail, "the unit's own contact is worn")});
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}, {"drifted_source=charge_pressure:0.05"}};
  RunListener nobody;
  CHECK(run(builder.plan(), bench, nobody).verdict == Verdict::void_);
}

TEST_CASE("a unit that sits well goes on to power", "[run][reseat]") {
  auto builder = contacts_then_power({found("contacts", Verdict::pass)});
  Watching watching;
  const auto outcome = play(builder.plan(), watching);
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(watching.slices.contains("power"));
}

TEST_CASE("what the rig is to blame for while looking at the contacts is no re-seat", "[run][reseat]") {
  // Readings that were lost, or, before any power, a sense at the end of its range.
  const auto kind = GENERATE(RigFlag::Kind::gap, RigFlag::Kind::saturated);
  std::optional<std::uint32_t> segment;
  Says contacts;
  contacts.of_the_fit = true;
  contacts.judge = [&](std::size_t, const Slice& slice) {
    segment = slice.record.id;
    Judged judged;
    judged.findings.push_back(found("contacts", Verdict::void_, "readings were lost", slice.record.id));
    return judged;
  };
  Builder builder;
  builder.step("contacts", still, contacts);
  builder.step("power", powered, {});
  builder.closing_self_test();
  Watching watching;
  const auto outcome = play(builder.plan(), watching, [kind](int, Chunk& chunk) {
    if (!chunk.ended.empty()) chunk.flags.push_back({kind, chunk.ended.front().start, {}, "lost"});
  });
  CHECK(outcome.verdict == Verdict::void_);
  CHECK_FALSE(outcome.reseat);
  CHECK_FALSE(watching.slices.contains("power"));
}
