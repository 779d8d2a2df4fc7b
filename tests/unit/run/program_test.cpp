// A program that runs beside the bench: its segment plays on and on, the outputs held, until it has ended.
#include "tests/unit/run/made_up_plan.hpp"

namespace {

using namespace made_up;

/// A program that ends after it has been asked so often.
struct Programs final : ProgramRunner {
  int asked = 0, ends_after = 50, started = 0, killed = 0;
  ProgramResult result{0, {}};
  std::vector<std::string> command;
  void start(const ProgramCall& call) override { ++started, command = call.command; }
  std::optional<ProgramResult> ended() override { return ++asked >= ends_after ? std::optional{result} : std::nullopt; }
  void kill() noexcept override { ++killed; }
};

Builder with_program() {
  Says says;
  says.programs[1] = {{"load", "--serial", "U-1"}, Nanoseconds{1'000'000'000}};
  says.judge = [](std::size_t i, const Slice& slice) {
    Judged judged;
    auto finding = found("load", Verdict::pass, {}, slice.record.id);
    finding.id = "load/segment" + std::to_string(i);
    judged.findings.push_back(finding);
    return judged;
  };
  Builder builder;
  builder.step(
      "load",
      [](Script& script, std::vector<Segment>& segments) {
        powered(script, segments);
        still(script, segments);
      },
      says);
  builder.closing_self_test();
  return builder;
}

std::size_t count(const Outcome& outcome, const std::string& id) {
  return static_cast<std::size_t>(
      std::count_if(outcome.findings.begin(), outcome.findings.end(), [&](auto& f) { return f.id == id; }));
}

}  // namespace

TEST_CASE("a program's segment plays over and over until it has ended, and is judged once", "[run][program]") {
  auto builder = with_program();
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}};
  Watching watching;
  Programs programs;
  const auto outcome = run(builder.plan(), bench, watching, nullptr, &programs);
  CAPTURE(outcome.reason);
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(programs.started == 1);
  CHECK(programs.command == std::vector<std::string>{"load", "--serial", "U-1"});
  CHECK(programs.killed == 0);
  CHECK(outcome.segments_played > builder.plan().segment_count);
  for (const char* id : {"load/segment0", "load/segment1", "load/segment2", "load/program1"})
    CHECK(count(outcome, id) == 1);
  CHECK(watching.slices["load"].size() == 3);  // so that it can be judged again
}

TEST_CASE("a program that did not end well is judged by its step", "[run][program]") {
  auto builder = with_program();
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}};
  RunListener nobody;
  Programs programs;
  programs.result = {std::nullopt, "it did not end in 1 s and was killed"};
  const auto outcome = run(builder.plan(), bench, nobody, nullptr, &programs);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.reason.find("it did not end in 1 s and was killed") != std::string::npos);
}

TEST_CASE("where nobody can run a program, its step says so", "[run][program]") {
  auto builder = with_program();
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}};
  RunListener nobody;
  const auto outcome = run(builder.plan(), bench, nobody);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(count(outcome, "load/program1") == 1);
}

TEST_CASE("a stop ends the program too", "[run][program][stop]") {
  auto builder = with_program();
  StopSwitch stop;
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}};
  RunListener nobody;
  Programs programs;
  programs.ends_after = 1 << 30;
  struct StopLater final : RunListener {
    StopSwitch& stop;
    explicit StopLater(StopSwitch& s) : stop{s} {}
    void progressed(const RunProgress& progress) override {
      if (progress.segments_done == 20) stop.stop("a person pressed stop");
    }
  } listener{stop};
  const auto outcome = run(builder.plan(), bench, listener, &stop, &programs);
  CHECK(outcome.reason == "stopped: a person pressed stop");
  CHECK(programs.killed == 1);
  CHECK(outcome.end.outputs_safe);
}

TEST_CASE("a bench that falls silent ends the program too", "[run][program]") {
  auto builder = with_program();
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}, {"dead_link=2"}};
  RunListener nobody;
  Programs programs;
  programs.ends_after = 1 << 30;
  CHECK(run(builder.plan(), bench, nobody, nullptr, &programs).verdict == Verdict::void_);
  CHECK(programs.killed == 1);
}

TEST_CASE("what a step notes is passed on, and the room's temperature once a run", "[run][notes]") {
  Says says;
  says.judge = [](std::size_t, const Slice&) {
    Judged judged;
    judged.notes.push_back({"firmware", "4f1c09"});
    return judged;
  };
  Builder builder;
  builder.step("identify", still, says);
  builder.closing_self_test();
  builder.plan().tracks.ambient = builder.plan().tracks.battery;  // any track will do
  builder.plan().tracks.fixture = builder.plan().tracks.battery;
  ChangedBench bench{builder.plan(), [](int, Chunk&) {}};
  Watching watching;
  run(builder.plan(), bench, watching);
  REQUIRE(watching.notes.size() == 3);
  CHECK(watching.notes[0].kind == "ambient");
  CHECK(watching.notes[0].text.ends_with(" degC"));
  CHECK(watching.notes[1].kind == "fixture");
  CHECK(watching.notes[2].text == "4f1c09");
}
