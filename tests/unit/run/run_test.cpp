// How a run is carried out: stopped, repeated, cut short.
#include <random>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/run/emulated_run.hpp"
#include "tests/unit/seed.hpp"

namespace {

using namespace rig;
using emulated_run::Asked;
using emulated_run::Stand;

const Stand& stand() {
  static const Stand only;
  return only;
}

/// Stops the run once it has come so far.
struct StopAt final : RunListener {
  StopSwitch& stop;
  std::size_t segments;
  StopAt(StopSwitch& s, std::size_t n) : stop{s}, segments{n} {}
  void progressed(const RunProgress& progress) override {
    if (progress.segments_done >= segments) stop.stop("a person pressed stop");
  }
};

struct CountTraces final : RunListener {
  std::size_t slices = 0;
  bool wants_traces() const override { return true; }
  void recorded(const std::string&, std::uint32_t, const std::vector<TrackInfo>&, std::vector<Slice>&& part) override {
    slices += part.size();
  }
};

constexpr Nanoseconds kInTheSweep = std::chrono::seconds{100};  ///< since the session's start

/// Loses readings of one track in the sweep, whose points can be played again: once, or again and again.
class LossySession final : public drivers::Session {
 public:
  LossySession(std::unique_ptr<drivers::Session> inner, int losses) : inner_{std::move(inner)}, losses_{losses} {}
  const std::vector<TrackInfo>& tracks() const override { return inner_->tracks(); }
  void append(std::span<const Segment> segments) override { inner_->append(segments); }
  void finish() override { inner_->finish(); }
  drivers::Progress next(Chunk& chunk) override {
    const auto progress = inner_->next(chunk);
    for (auto& block : chunk.blocks) {
      if (losses_ == 0 || block.first.since_start() < kInTheSweep) continue;
      if (index(block.track) != 0 || block.count < 2) continue;
      --losses_;
      block.values.erase(block.values.begin(), block.values.begin() + 3);  // one bin
      block.first = block.first + Nanoseconds{1'000'000};
      block.count -= 1;
      block.dropped_before = 1;
    }
    return progress;
  }
  void stop(std::string reason) noexcept override { inner_->stop(std::move(reason)); }
  EndState close() noexcept override { return inner_->close(); }

 private:
  std::unique_ptr<drivers::Session> inner_;
  int losses_;
};
class LossyBench final : public drivers::Bench {
 public:
  LossyBench(std::unique_ptr<drivers::Bench> inner, int losses) : inner_{std::move(inner)}, losses_{losses} {}
  const Capabilities& capabilities() const override { return inner_->capabilities(); }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan& plan) override {
    return std::make_unique<LossySession>(inner_->open(plan), losses_);
  }

 private:
  std::unique_ptr<drivers::Bench> inner_;
  int losses_;
};
Outcome run_lossy(int losses) {
  LossyBench bench{drivers::open_emulated(stand().bench(), stand().scenario().product, {"U-1", {}, false}), losses};
  RunListener nobody;
  return run(stand().plan(), bench, nobody);
}

}  // namespace

TEST_CASE("a stop at any moment ends as void with safe outputs and a reason", "[run][stop]") {
  std::mt19937_64 random{test_seed()};
  for (int i = 0; i < 12; ++i) {  // the drivers' own contract tests stop at a thousand instants
    StopSwitch stop;
    const auto at = random() % stand().plan().segment_count;
    StopAt listener{stop, at};
    const auto outcome = stand().run({}, listener, &stop);
    CAPTURE(at, outcome.reason);
    REQUIRE(outcome.verdict == Verdict::void_);
    REQUIRE(outcome.end.reason == EndState::Reason::stopped);
    REQUIRE(outcome.end.outputs_safe);
    REQUIRE(outcome.reason == "stopped: a person pressed stop");
  }
}

TEST_CASE("a stop before the run begins keeps anything from being energised", "[run][stop]") {
  StopSwitch stop;
  stop.stop("the lid is open");
  RunListener nobody;
  const auto outcome = stand().run({}, nobody, &stop);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.segments_played <= 1);
}

TEST_CASE("a listener that must stop ends the run", "[run][stop]") {
  struct Full final : RunListener {
    int calls = 0;
    std::string must_stop() override { return ++calls > 50 ? "the store failed" : ""; }
  } full;
  const auto outcome = stand().run({}, full);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK(outcome.reason == "stopped: the store failed");
}

TEST_CASE("every segment that was played is handed over for keeping", "[run]") {
  CountTraces traces;
  const auto outcome = stand().run({}, traces);
  CHECK(traces.slices == stand().plan().segment_count);
  CHECK(outcome.segments_played == stand().plan().segment_count);
}

TEST_CASE("a segment that lost readings is played again, counted, and the unit still proved", "[run][gap]") {
  const auto outcome = run_lossy(1);
  CAPTURE(outcome.reason);
  CHECK(outcome.verdict == Verdict::pass);
  CHECK(outcome.segments_repeated == 1);
}

TEST_CASE("a rig that loses readings again and again voids the run", "[run][gap]") {
  const auto outcome = run_lossy(100000);
  CHECK(outcome.verdict == Verdict::void_);
  CHECK_FALSE(outcome.reason.empty());
}

TEST_CASE("a run of which enough is known ends early, the bench well alone, with the verdict it would have had",
          "[run][enough]") {
  const auto whole = stand().run({"U-1", {"offset"}, {}, 3}), early = stand().run({"U-1", {"offset"}, {}, 3, "sweep/"});
  CAPTURE(early.reason);
  CHECK(whole.verdict == Verdict::fail);
  CHECK(early.verdict == Verdict::fail);
  CHECK(early.end.outputs_safe);
  CHECK(early.bench_duration < whole.bench_duration);
  CHECK(early.findings.back().step == "self_test_closing");
}
