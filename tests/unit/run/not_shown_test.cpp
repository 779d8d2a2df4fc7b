// What the bench or a unit at rest did not show: no verdict comes of it.
#include "rig/compile/supply_judge.hpp"
#include "tests/unit/run/fit_steps.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

/// Keeps what one step recorded.
struct Recorder final : RunListener {
  explicit Recorder(std::string of) : step{std::move(of)} {}
  std::string step;
  std::vector<TrackInfo> tracks;
  std::vector<Slice> slices;
  bool wants_traces() const override { return true; }
  void recorded(const std::string& of, std::uint32_t, const std::vector<TrackInfo>& infos,
                std::vector<Slice>&& part) override {
    if (of != step) return;
    tracks = infos;
    for (auto& slice : part) slices.push_back(std::move(slice));
  }
};

/// One step on a good unit, its recording ready to be judged again.
struct Played {
  Played(StepSpec spec, std::string name)
      : stand{fit::only({SelfTestSpec{}, std::move(spec)})}, recorder{std::move(name)} {
    stand.run({}, recorder);
    REQUIRE(recorder.slices.size() == step().segments().size());
  }
  const CompiledStep& step() const { return *stand.plan().steps[1]; }
  std::string voided(std::size_t segment, const Slice& slice) const {
    const Scales scales{recorder.tracks, capabilities_of(stand.bench()).tick_rate};
    return step().judge(segment, slice, scales).reduction.voided;
  }
  emulated_run::Stand stand;
  Recorder recorder;
};

ReplaySpec shipped_pull() {
  const auto scenario = shipped::whole(load_scenario(shipped::path("regression.yaml")));
  for (const auto& step : scenario.steps)
    if (const auto* replay = std::get_if<ReplaySpec>(&step); replay && replay->name == "pull") return *replay;
  FAIL("no replay 'pull' in regression.yaml");
  return {};
}

/// Edges from one on, the ones before it lost.
std::vector<std::int32_t> from(const std::vector<std::int32_t>& edges, std::size_t first) {
  std::int32_t ticks = 0;
  for (std::size_t i = 0; i <= first; ++i) ticks += edges[i] >> 1;
  std::vector<std::int32_t> rest(edges.begin() + static_cast<std::ptrdiff_t>(first), edges.end());
  rest.front() = (ticks << 1) | (rest.front() & 1);
  return rest;
}

}  // namespace

TEST_CASE("a drive whose speed signal was away for a while says nothing of the unit", "[run][replay]") {
  const Played played{shipped_pull(), "pull"};
  const std::size_t segment = played.recorder.slices.size() / 2;
  auto slice = played.recorder.slices[segment];
  CHECK(played.voided(segment, slice) == "");

  auto& edges = slice.tracks[index(played.stand.plan().tracks.edges_in)].values;
  const auto whole = edges;
  REQUIRE(whole.size() > 40);
  edges.clear();
  CHECK(played.voided(segment, slice).find("no speed edges were seen") != std::string::npos);
  edges.assign(whole.begin(), whole.begin() + static_cast<std::ptrdiff_t>(whole.size() / 2));
  CHECK(played.voided(segment, slice).find("no speed edges were seen") != std::string::npos);
  edges = from(whole, whole.size() / 2);
  CHECK(played.voided(segment, slice).find("no speed edges were seen") != std::string::npos);
}

TEST_CASE("a source that steps by less than was asked for does not blame the unit", "[run][step_response]") {
  StepResponseSpec spec;
  spec.repeat = 1;
  const Played played{spec, "step_response"};
  const auto& tracks = played.stand.plan().tracks;
  std::size_t seen = 0;
  for (std::size_t i = 0; i < played.recorder.slices.size(); ++i) {
    auto slice = played.recorder.slices[i];
    for (const auto& line : tracks.fine) {
      auto& in = slice.tracks[index(line.in)].values;
      if (in.empty()) continue;
      ++seen;
      CHECK(played.voided(i, slice) == "");
      for (auto& value : in) value = static_cast<std::int32_t>(0.4 * value);
      CHECK(played.voided(i, slice).find("the bench's own source stepped by") != std::string::npos);
    }
  }
  CHECK(seen == 8);
}

TEST_CASE("the repeat that may be the slowest decides, not the one that reads slowest", "[run][step_response]") {
  const emulated_run::Stand stand{fit::only({SelfTestSpec{}, StepResponseSpec{}})};
  const auto& step = *stand.plan().steps[1];
  // Answered; delay, duration, overshoot and settling with their doubts; settles; the input's duration.
  const auto repeat = [](double delay, double doubt) {
    return Reduction{1, {}, {1, delay, doubt, 8e-3, 1e-4, 0, 0, 12e-3, 1e-4, 1, 3e-4, 1e-4}};
  };
  std::vector<Reduction> reductions(step.segments().size(), repeat(14.9e-3, 1e-5));
  const auto delay = [&] {
    Outcome outcome;
    outcome.findings = step.conclude(reductions);
    return fit::find(outcome, "step_response/delay/charge_pressure/rising@1000rpm").verdict;
  };
  CHECK(delay() == Verdict::pass);
  // Rising and falling take turns: one of three repeats in either direction.
  for (std::size_t i = 0; i < reductions.size(); i += 3) reductions[i] = repeat(14.8e-3, 5e-4);
  CHECK(delay() == Verdict::undecided);
}

TEST_CASE("a unit that stands still beside its table has not shown that it stands still while it works",
          "[run][hold]") {
  const emulated_run::Stand stand{fit::only({SelfTestSpec{}, HoldSpec{}})};
  const auto outcome = stand.run({"BAD", {"offset=0.1@manifold_pressure"}, {}, 1});
  for (const auto* what : {"peak_to_peak", "rms", "drift", "limit_cycle", "drop_outs"}) {
    const auto of = [&](const char* channel) {
      return fit::find(outcome, fmt::format("hold/{}/{}@3500rpm,180kPa", what, channel));
    };
    CAPTURE(what);
    CHECK(of("manifold_pressure").verdict == Verdict::undecided);
    CHECK(of("manifold_pressure").reason.find("was not at its table") != std::string::npos);
    CHECK(of("charge_pressure").verdict == Verdict::pass);
  }
}

TEST_CASE("a course in which no supply was seen to go low tells nothing of how a unit comes back", "[run][supply]") {
  SupplySpec spec;
  spec.courses = {{"drop", SupplyShape{MomentaryDrop{Volts{9}, Volts{4.5}, 100ms, 10ms}}}};
  const emulated_run::Stand stand{fit::only({SelfTestSpec{}, spec})};
  const auto& step = *stand.plan().steps[1];
  const auto recovery = [&](bool low) {
    SupplyPart part;
    part.leading_whole = low ? 0 : 1, part.leading_arrived = 1;
    if (low) part.longest_return = 300;
    Reduction reduction{1, {}, {0, 1, 0}};
    for (int c = 0; c < 2; ++c) part.append_to(reduction.numbers);
    Outcome outcome;
    outcome.findings = step.conclude(std::vector<Reduction>(step.segments().size(), reduction));
    return fit::find(outcome, "supply/drop/recovery/manifold_pressure");
  };
  CHECK(recovery(true).verdict == Verdict::pass);
  CHECK(recovery(false).verdict == Verdict::void_);
  CHECK(recovery(false).reason.find("no supply was seen below its range") != std::string::npos);
}
