// Void is no loophole: what may be the unit's doing has it cut off and the bench tested alone. What never is stays
// void.
#include "rig/run/disturbance.hpp"

#include "rig/core/rig_fault.hpp"
#include "tests/unit/run/made_up_plan.hpp"

namespace {

using namespace made_up;

/// A powered step whose second segment is void, then one that must not be reached, then the closing self-test.
Builder voided_in_mid_run(BenchSetup bench = shipped::emulated_bench()) {
  Says says;
  says.judge = [](std::size_t i, const Slice& slice) {
    Judged judged;
    if (i == 1) judged.findings.push_back(found("work", Verdict::void_, "nothing can be said", slice.record.id));
    return judged;
  };
  Builder builder{std::move(bench)};
  builder.step("work", powered, says);
  Says after;
  after.conclude = [] { return std::vector{found("after", Verdict::pass)}; };
  builder.step("after", still, after);
  builder.closing_self_test();
  return builder;
}

/// Changes the record of the voided segment (the second of the run), and what comes with it.
Change in_second_segment(std::function<void(Chunk&, SegmentRecord&)> change) {
  auto seen = std::make_shared<int>(0);
  return [seen, change](int session, Chunk& chunk) {
    if (session != 0) return;
    for (auto& record : chunk.ended)
      if (++*seen == 2) return change(chunk, record);
  };
}
Change flag_in_second_segment(RigFlag::Kind kind) {
  return in_second_segment([kind](Chunk& chunk, SegmentRecord& record) {
    chunk.flags.push_back({kind, record.start, PortId{3}, "so it is"});
  });
}

struct Done {
  Outcome outcome;
  int sessions;
  bool reached_after;
};
Done play(const Plan& plan, const Change& change, const std::vector<std::string>& troubles = {}) {
  ChangedBench bench{plan, change, troubles};
  Watching watching;
  auto outcome = run(plan, bench, watching);
  return {std::move(outcome), bench.sessions, watching.slices.contains("after")};
}

void check_cut_off(const Done& done) {
  CAPTURE(done.outcome.reason);
  CHECK(done.outcome.verdict == Verdict::fail);
  CHECK(done.outcome.reason.starts_with("unit disturbs the bench: "));
  CHECK(done.outcome.reason.ends_with(", and the bench is well once the unit is cut off. Set the unit aside"));
  CHECK(done.outcome.end.reason == EndState::Reason::completed);
  CHECK(done.outcome.end.outputs_safe);
  CHECK(done.sessions == 2);
  CHECK_FALSE(done.reached_after);
}

void check_left_void(const Done& done) {
  CAPTURE(done.outcome.reason);
  CHECK(done.outcome.verdict == Verdict::void_);
  CHECK(done.sessions == 1);
}

}  // namespace

TEST_CASE("a flag that the unit may have raised cuts it off; a bench that is well alone makes it a fail",
          "[run][disturbance]") {
  for (const auto kind : {RigFlag::Kind::saturated, RigFlag::Kind::current_limited, RigFlag::Kind::supply}) {
    auto builder = voided_in_mid_run();
    const auto done = play(builder.plan(), flag_in_second_segment(kind));
    check_cut_off(done);
    CHECK(done.outcome.findings.back().id == "disturbance/bench");
    CHECK(done.outcome.findings.back().verdict == Verdict::fail);
  }
}

TEST_CASE("a flag that only the rig can raise stays a void", "[run][disturbance]") {
  for (const auto kind : {RigFlag::Kind::gap, RigFlag::Kind::interlock, RigFlag::Kind::underrun, RigFlag::Kind::clock,
                          RigFlag::Kind::board_error, RigFlag::Kind::link}) {
    auto builder = voided_in_mid_run();
    check_left_void(play(builder.plan(), flag_in_second_segment(kind)));
  }
}

TEST_CASE("a flag of the unit beside lost readings stays a void", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  check_left_void(play(builder.plan(), in_second_segment([](Chunk& chunk, SegmentRecord& record) {
                         chunk.flags.push_back({RigFlag::Kind::saturated, record.start, {}, ""});
                         chunk.flags.push_back({RigFlag::Kind::gap, record.start, {}, ""});
                       })));
}

TEST_CASE("an input that does not settle cuts the unit off", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto done = play(builder.plan(), in_second_segment([](Chunk&, SegmentRecord& record) {
                           record.reason = SegmentEnd::timed_out;
                           record.settled.front().reset();
                         }));
  check_cut_off(done);
  CHECK(done.outcome.reason.find("does not settle") != std::string::npos);
}

TEST_CASE("a rail that is pulled out of its limits cuts the unit off", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto rail = builder.plan().tracks.rails.front().controller;
  const auto done = play(builder.plan(), [rail](int session, Chunk& chunk) {
    if (session != 0) return;
    for (auto& block : chunk.blocks)
      if (block.track == rail)
        for (auto& value : block.values) value = value * 7 / 10;
  });
  check_cut_off(done);
  CHECK(done.outcome.reason.find("rail 5v is asked for 5.00 V and reads 3.5") != std::string::npos);
}

TEST_CASE("a void without any sign of the unit stays a void, and the run goes on", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto done = play(builder.plan(), [](int, Chunk&) {});
  check_left_void(done);
  CHECK(done.reached_after);
  CHECK(done.outcome.reason == "work, it: nothing can be said. Mend that, then run the unit again");
}

TEST_CASE("a bench that is not well alone leaves it void: nothing is said of the unit", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto done =
      play(builder.plan(), flag_in_second_segment(RigFlag::Kind::saturated), {"drifted_source=manifold_pressure:0.05"});
  CAPTURE(done.outcome.reason);
  CHECK(done.sessions == 2);
  CHECK(done.outcome.verdict == Verdict::void_);
  CHECK(done.outcome.reason.starts_with("the bench failed its own test"));
}

TEST_CASE("a source that is slow with the unit cut off too leaves it void", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto second = in_second_segment([](Chunk&, SegmentRecord& record) {
    record.reason = SegmentEnd::timed_out;
    record.settled.front().reset();
  });
  const auto done = play(builder.plan(), [second](int session, Chunk& chunk) {
    second(session, chunk);
    if (session == 1)
      for (auto& record : chunk.ended)
        if (!record.settled.empty()) record.reason = SegmentEnd::timed_out;
  });
  CHECK(done.sessions == 2);
  CHECK(done.outcome.verdict == Verdict::void_);
}

TEST_CASE("a source that only just settles alone is not taken for a good one", "[run][disturbance]") {
  Segment segment;
  segment.end = Until{{}, Nanoseconds{10'000'000}, Nanoseconds{510'000'000}};
  Slice slice;
  slice.record.reason = SegmentEnd::settled;
  slice.record.end = BenchTime{Nanoseconds{250'000'000}};
  CHECK(well_alone(segment, slice));
  slice.record.end = BenchTime{Nanoseconds{270'000'000}};
  CHECK_FALSE(well_alone(segment, slice));
}

TEST_CASE("a bench that cannot cut the unit off leaves it void", "[run][disturbance]") {
  auto bench = shipped::emulated_bench();
  auto builder = voided_in_mid_run(bench);
  builder.plan().bench.wiring.isolator.reset();
  const auto done = play(builder.plan(), flag_in_second_segment(RigFlag::Kind::saturated));
  check_left_void(done);
}

TEST_CASE("a person's stop while the bench is tested alone is a stop", "[run][disturbance][stop]") {
  auto builder = voided_in_mid_run();
  StopSwitch stop;
  ChangedBench bench{builder.plan(),
                     [&, flag = flag_in_second_segment(RigFlag::Kind::saturated)](int session, Chunk& chunk) {
                       flag(session, chunk);
                       if (session == 1) stop.stop("a person pressed stop");
                     }};
  RunListener nobody;
  const auto outcome = run(builder.plan(), bench, nobody, &stop);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.end.reason == EndState::Reason::stopped);
  CHECK(outcome.reason == "stopped: a person pressed stop");
}

TEST_CASE("a link that dies while the bench is tested alone is a fault of the rig", "[run][disturbance]") {
  auto builder = voided_in_mid_run();
  const auto flag = flag_in_second_segment(RigFlag::Kind::saturated);
  const auto done = play(builder.plan(), [flag](int session, Chunk& chunk) {
    if (session == 1) throw RigFault{"bench", "it no longer answers", "Check its cable"};
    flag(session, chunk);
  });
  CHECK(done.sessions == 2);
  CHECK(done.outcome.verdict == Verdict::void_);
  CHECK(done.outcome.end.reason == EndState::Reason::fault);
}

TEST_CASE("a void of a self-test is the rig's, however it came about", "[run][disturbance]") {
  const auto setup = shipped::emulated_bench();
  const auto plan = compile(shipped::end_of_line(), setup, capabilities_of(setup)).plan;
  ChangedBench bench{*plan, [](int, Chunk& chunk) {
                       for (auto& record : chunk.ended)
                         chunk.flags.push_back({RigFlag::Kind::current_limited, record.start, {}, "limited"});
                     }};
  RunListener nobody;
  const auto outcome = run(*plan, bench, nobody);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(bench.sessions == 1);
}
