#include "rig/cli/run_strips.hpp"

#include <algorithm>
#include <array>
#include <exception>
#include <filesystem>
#include <memory>
#include <string_view>

#include <fmt/format.h>

#include "rig/cli/kept_files.hpp"
#include "rig/cli/run_facts.hpp"
#include "rig/compile/plan.hpp"
#include "rig/store/store_error.hpp"

namespace rig {
namespace {

/// Kinds of steps whose strips() draw something: only their recordings are decoded.
constexpr std::array<std::string_view, 5> kDrawn{"fault", "step_response", "supply", "replay", "hold"};

/// Why nothing can be drawn; ends up as one line of the report.
struct NotDrawn {
  std::string why;
};

bool drawn(std::string_view kind) { return std::find(kDrawn.begin(), kDrawn.end(), kind) != kDrawn.end(); }

bool has_drawn_steps(const StoredRun& run) {
  return std::any_of(run.opened.judges.begin(), run.opened.judges.end(),
                     [](const auto& judge) { return drawn(judge.step_kind); });
}

std::shared_ptr<const Plan> plan_as_it_was(const StoreReader& reader, const StoredRun& run) {
  const auto inputs = reader.inputs(run.number);
  const auto kept = std::find_if(inputs.begin(), inputs.end(), [](const auto& i) { return i.role == kFactsRole; });
  const auto known = kept == inputs.end() ? std::nullopt : facts_from_json(kept->bytes);
  const KeptFiles files{inputs};
  const auto scenario = files.scenario();
  const auto bench = files.bench();
  if (!known || !scenario || !bench)
    throw NotDrawn{"the files kept with the run are not what this program reads today"};
  auto plan = compile(*scenario, *bench, capabilities_of(*bench), known->facts).plan;
  if (!plan) throw NotDrawn{"this program no longer makes a plan of the files kept with the run"};
  return plan;
}

/// A judge of another version may cut its segments in another way.
void hold_version(const StoredRun& run, const CompiledStep& step) {
  for (const auto& judge : run.opened.judges)
    if (judge.step_kind == step.kind() && judge.version != step.judge_version())
      throw NotDrawn{fmt::format("the step '{}' was judged by version {} of its judge; this program has version {}",
                                 step.name(), judge.version, step.judge_version())};
}

void hold_tracks(const Plan& plan, const StepTrace& trace) {
  const auto& planned = plan.capture.tracks;
  if (!std::equal(planned.begin(), planned.end(), trace.tracks.begin(), trace.tracks.end(),
                  [](const Track& track, const TrackInfo& info) { return track == info.track; }))
    throw NotDrawn{
        fmt::format("the recording of step '{}' has other tracks than this program would record", trace.step)};
}

/// Segments played again have numbers beyond the step's own and are not drawn.
std::vector<Strip> strips_of_step(const CompiledStep& step, const StepTrace& trace) {
  std::vector<Strip> strips;
  const auto& segments = step.segments();
  for (const auto& slice : trace.slices) {
    if (segments.empty() || slice.record.id < segments.front().id) continue;
    const std::size_t i = slice.record.id - segments.front().id;
    if (i >= segments.size()) continue;
    for (auto& strip : step.strips(i, slice, {trace.tracks, trace.tick_rate})) strips.push_back(std::move(strip));
  }
  return strips;
}

void draw(const StoreReader& reader, const StoredRun& run, RunStrips& all) {
  const auto traced = reader.traced_steps(run.number);
  const auto plan = plan_as_it_was(reader, run);
  for (const auto& step : plan->steps) {
    if (!drawn(step->kind()) || std::find(traced.begin(), traced.end(), step->name()) == traced.end()) continue;
    hold_version(run, *step);
    const auto trace = reader.load_step_trace(run.number, step->name());
    hold_tracks(*plan, trace);
    all.steps.emplace_back(step->name(), strips_of_step(*step, trace));
  }
}

}  // namespace

RunStrips strips_of(const StoreReader& reader, const StoredRun& run) {
  RunStrips all;
  if (!has_drawn_steps(run)) return all;
  const auto give_up = [&](const std::string& why) { all = {{}, "no pictures of the faults and courses: " + why}; };
  try {
    draw(reader, run, all);
  } catch (const NotDrawn& reason) {
    give_up(reason.why);
  } catch (const StoreError& error) {
    give_up(error.what());
  } catch (const std::filesystem::filesystem_error& error) {
    give_up(std::string{"the files kept with the run could not be laid out: "} + error.what());
  }
  return all;
}

}  // namespace rig
