// An external program beside the bench: what becomes of the run is decided by how it ends.
#include "tests/unit/compile/paper_bench.hpp"

namespace {

using namespace rig;

struct Loader {
  explicit Loader(ProgramSpec spec) {
    RunFacts facts;
    facts.serial = "T00017";
    plan = paper::plan_of({std::move(spec)}, facts);
  }
  const CompiledStep& step() const { return *plan->steps.front(); }
  std::size_t last() const { return step().segments().size() - 1; }
  Finding judge(const ProgramResult& result) const {
    const auto findings = step().judge_program(last(), result);
    REQUIRE(findings.size() == 1);
    CHECK(findings.front().id == step().characteristics().front());
    return findings.front();
  }
  std::shared_ptr<const Plan> plan;
};

ProgramSpec loads() {
  ProgramSpec spec;
  spec.command = {"/opt/load", "--unit={serial}", "{serial}.log"};
  return spec;
}

bool sets(const Segment& segment, PortId port, bool on) {
  return std::any_of(segment.events.begin(), segment.events.end(), [&](const Event& event) {
    const auto* set = std::get_if<SetOutput>(&event.action);
    return set && set->port == port && std::holds_alternative<Volts>(set->to) == on;
  });
}

}  // namespace

TEST_CASE("the program gets the unit's serial number wherever its arguments ask for it", "[compile][program]") {
  const Loader loader{loads()};
  const auto* call = loader.step().program_during(loader.last());
  REQUIRE(call);
  CHECK(call->command == std::vector<std::string>{"/opt/load", "--unit=T00017", "T00017.log"});
  CHECK(call->time_out == loads().time_out);
}

TEST_CASE("one short segment is played over and over while the program runs, and changes nothing",
          "[compile][program]") {
  const Loader loader{loads()};
  const auto again = loader.step().again(loader.last());
  REQUIRE(again);
  CHECK(again->events.empty());
  CHECK(longest(*again) <= Nanoseconds{250'000'000});  // a bench is asked to go on long before its lease ends
  for (std::size_t i = 0; i < loader.last(); ++i) CHECK_FALSE(loader.step().program_during(i));
}

TEST_CASE("the unit has power during the program, or has not, as the step says", "[compile][program]") {
  for (const bool powered : {true, false}) {
    auto spec = loads();
    spec.powered = powered;
    const Loader loader{spec};
    CHECK(sets(loader.step().segments().front(), loader.plan->bench.wiring.battery, powered));
  }
}

TEST_CASE("a program that ends with 0 passes", "[compile][program]") {
  const auto finding = Loader{loads()}.judge({0, ""});
  CHECK(finding.verdict == Verdict::pass);
  CHECK(finding.value == 0);
}

TEST_CASE("any other ending is void and says what to do: it may be the unit or the program", "[compile][program]") {
  const Loader loader{loads()};
  for (const int code : {1, 2, 127, 255, -1}) {
    const auto finding = loader.judge({code, ""});
    CHECK(finding.verdict == Verdict::void_);
    CHECK(finding.value == code);
    CHECK(finding.reason.find("exit code " + std::to_string(code)) != std::string::npos);
    CHECK(finding.reason.find("put right what it says") != std::string::npos);
  }
}

TEST_CASE("a program that cannot be started or does not end is void, with why", "[compile][program]") {
  const auto finding = Loader{loads()}.judge({std::nullopt, "it did not end in 120 s and was killed"});
  CHECK(finding.verdict == Verdict::void_);
  CHECK(finding.reason.find("did not end in 120 s") != std::string::npos);
  CHECK(Loader{loads()}.judge({std::nullopt, ""}).verdict == Verdict::void_);
}
