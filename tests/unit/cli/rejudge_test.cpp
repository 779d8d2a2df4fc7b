// A verdict must be reached again from what the store kept: the same judges, on recordings that went through its
// encoding.
#include <map>

#include "rig/cli/run_facts.hpp"
#include "rig/store/trace_codec.hpp"
#include "tests/unit/run/emulated_run.hpp"

namespace {

using namespace rig;

/// Keeps what a run recorded the way the store does, in bytes.
struct Keep final : RunListener {
  std::map<std::string, std::vector<std::vector<EncodedTrace>>> parts;
  bool wants_traces() const override { return true; }
  void recorded(const std::string& step, std::uint32_t part, const std::vector<TrackInfo>& tracks,
                std::vector<Slice>&& slices) override {
    StepTrace trace;
    trace.step = step;
    trace.part = part;
    trace.tick_rate = 10'000'000;
    trace.tracks = tracks;
    trace.slices = std::move(slices);
    parts[step].push_back(encode_trace(trace));
  }
};

}  // namespace

TEST_CASE("judging a recording that went through the store gives the same findings as judging it live",
          "[cli][rejudge]") {
  // What was known beforehand goes through the store as well: the plan that judges again is made from that.
  auto known = facts_without_store(shipped::end_of_line(), "U-1");
  known.facts.reseats = 2;
  known.facts.plug_cleared = true;
  known.facts.baseline = Baseline{"01a2139c", {{"speed_line/low", 0.1 + 0.2}, {"contacts/ground", 1.0 / 3}}};
  const auto kept = facts_from_json(facts_json(known));
  REQUIRE(kept);
  const emulated_run::Stand stand{shipped::end_of_line(), shipped::emulated_bench(), known.facts};
  const emulated_run::Stand judge{shipped::end_of_line(), shipped::emulated_bench(), kept->facts};
  for (const char* defect : {"", "offset", "startup_glitch"}) {
    Keep keep;
    emulated_run::Asked asked;
    if (*defect) asked.defects = {defect};
    const auto live = stand.run(asked, keep);

    std::vector<Finding> again;
    for (const auto& step : judge.plan().steps) {
      std::vector<Reduction> reductions;
      for (const auto& part : keep.parts[step->name()]) {
        const auto trace = decode_trace(part);
        for (const auto& slice : trace.slices) {
          auto judged = step->judge(reductions.size(), slice, {trace.tracks, trace.tick_rate});
          reductions.push_back(std::move(judged.reduction));
          for (auto& finding : judged.findings) again.push_back(std::move(finding));
        }
      }
      for (auto& finding : step->conclude(reductions)) again.push_back(std::move(finding));
    }

    CAPTURE(defect);
    std::size_t of_the_whole_run = 0;  // the watches', which come after the steps'
    for (const auto& watch : judge.plan().watches) of_the_whole_run += watch->characteristics().size();
    REQUIRE(again.size() + of_the_whole_run == live.findings.size());
    for (std::size_t i = 0; i < again.size(); ++i) {
      REQUIRE(again[i].id == live.findings[i].id);
      REQUIRE(again[i].verdict == live.findings[i].verdict);
      REQUIRE((again[i].value == live.findings[i].value || std::isnan(live.findings[i].value)));
      REQUIRE(again[i].reason == live.findings[i].reason);
    }
  }
}

TEST_CASE("what a whole end-of-line run records stays inside its budget of four megabytes", "[cli][rejudge]") {
  const emulated_run::Stand stand;
  Keep keep;
  stand.run({}, keep);
  std::size_t bytes = 0;
  for (const auto& [step, parts] : keep.parts)
    for (const auto& part : parts)
      for (const auto& trace : part) bytes += trace.payload.size();
  CHECK(bytes < 4'000'000);
  CHECK(bytes > 100'000);
}
