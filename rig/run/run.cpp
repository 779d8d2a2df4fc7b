#include "rig/run/run.hpp"

#include <algorithm>
#include <deque>
#include <set>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/core/rig_fault.hpp"

namespace rig {

void StopSwitch::stop(std::string reason) noexcept {
  const std::lock_guard lock{mutex_};
  if (stopped_) return;
  stopped_ = true;
  reason_ = std::move(reason);
  if (session_) session_->stop(reason_);
}

void StopSwitch::attach(drivers::Session* session) noexcept {
  const std::lock_guard lock{mutex_};
  session_ = session;
  if (session_ && stopped_) session_->stop(reason_);
}

namespace {

constexpr int kMostRepeats = 2;                ///< of one segment with a gap
constexpr std::size_t kPartValues = 1u << 18;  ///< readings in one part of a trace: 1 MiB

std::size_t value_count(const Slice& slice) {
  std::size_t count = 0;
  for (const auto& track : slice.tracks) count += track.values.size();
  return count;
}

bool has_gap(const Slice& slice) {
  return std::any_of(slice.tracks.begin(), slice.tracks.end(), [](const TrackSlice& t) { return t.gap; });
}

}  // namespace

/// One run, from open to close.
class Runner {
 public:
  Runner(const Plan& plan, drivers::Bench& bench, RunListener& listener, StopSwitch* stop)
      : plan_{plan}, bench_{bench}, listener_{listener}, stop_{stop} {}

  Outcome run() {
    std::string fault;
    try {
      drivers::SessionPlan open;
      open.capture = plan_.capture;
      open.limits = plan_.limits;
      open.wheels = {{plan_.bench.wiring.speed.source, plan_.scenario.product->speed.wheel}};
      session_ = bench_.open(open);
      if (stop_) stop_->attach(session_.get());
      play();
    } catch (const RigFault& rig_fault) {
      fault = rig_fault.what();
    }
    if (stop_) stop_->attach(nullptr);
    if (session_)
      outcome_.end = session_->close();
    else
      outcome_.end = {EndState::Reason::fault, fault, false, {}};
    if (!fault.empty()) outcome_.end.reason = EndState::Reason::fault, outcome_.end.text = fault;
    conclude(fault);
    return std::move(outcome_);
  }

 private:
  void play() {
    slicer_.emplace(session_->tracks(), bench_.capabilities().tick_rate);
    watched_.resize(plan_.watches.size());
    for (const auto& step : plan_.steps) {
      if (ended_ || !play_step(*step)) break;
    }
    if (!ended_) {
      session_->finish();
      while (session_->next(chunk_) != drivers::Progress::ended) {
      }
    }
    for (std::size_t w = 0; w < plan_.watches.size(); ++w) {
      for (auto& finding : plan_.watches[w]->conclude(watched_[w])) {
        // A run that was cut short has not seen enough to say so of the rig.
        if (plan_.watches[w]->of_the_rig() && !ended_)
          self_test_passed_ = self_test_passed_ && finding.verdict == Verdict::pass;
        add(std::move(finding));
      }
    }
  }

  /// False when the run must not go on.
  bool play_step(const CompiledStep& step) {
    step_ = &step;
    reductions_.assign(step.segments().size(), {});
    repeats_.assign(step.segments().size(), 0);
    repeated_.clear();
    slices_.clear();
    part_ = 0, part_values_ = 0;
    outstanding_ = step.segments().size();
    session_->append(step.segments());
    while (outstanding_ > 0) {
      const auto progress = session_->next(chunk_);
      for (auto& slice : slicer_->take(chunk_)) take(slice);
      if (progress == drivers::Progress::ended) {
        ended_ = true;
        break;
      }
      if (progress == drivers::Progress::idle && outstanding_ > 0)
        throw RigFault{"bench",
                       fmt::format("{} of {} segments of step '{}' were not handed out", outstanding_,
                                   step.segments().size(), step.name()),
                       "This is a fault of the driver: report it"};
      if (auto why = listener_.must_stop(); !why.empty()) {
        cut_short_ = why;
        session_->stop(why);
      }
    }
    hand_over_part();
    if (ended_) return false;
    for (auto& finding : step.conclude(reductions_)) add(std::move(finding));
    if (!step.of_the_rig()) return true;
    self_test_passed_ = self_test_passed_ && rig_is_well(step);
    return self_test_passed_;
  }

  bool rig_is_well(const CompiledStep& step) const {
    return std::all_of(outcome_.findings.begin(), outcome_.findings.end(),
                       [&](const Finding& f) { return f.step != step.name() || f.verdict == Verdict::pass; });
  }

  void take(Slice& slice) {
    ++outcome_.segments_played;
    outcome_.bench_duration = slice.record.end.since_start();
    if (slice.record.reason == SegmentEnd::stopped) return;
    const auto i = position(slice.record.id);
    const Scales scales{session_->tracks(), bench_.capabilities().tick_rate};
    auto judged = step_->judge(i, slice, scales);
    if (has_gap(slice) && repeat(i, slice)) return;
    reductions_[i] = std::move(judged.reduction);
    for (auto& finding : judged.findings) add(std::move(finding));
    for (const auto& note : judged.notes) listener_.noted(note);
    for (std::size_t w = 0; w < plan_.watches.size(); ++w) watched_[w].push_back(plan_.watches[w]->look(slice, scales));
    --outstanding_;
    keep(slice);
    listener_.progressed(
        {step_->name(), outcome_.segments_played, plan_.segment_count + outcome_.segments_repeated, slice.record.end});
  }

  /// Which of the step's segments a record belongs to, repeats included.
  std::size_t position(std::uint32_t id) const {
    for (const auto& [segment, i] : repeated_)
      if (segment.id == id) return i;
    return id - step_->segments().front().id;
  }

  /// A gap that could not be mended: the segment is played again, at most twice, where its step allows it.
  bool repeat(std::size_t i, const Slice& slice) {
    if (repeats_[i] >= kMostRepeats) return false;
    auto again = step_->again(i);
    if (!again) return false;
    ++repeats_[i];
    ++outcome_.segments_repeated;
    again->id = next_repeat_id_++;
    repeated_.emplace_back(std::move(*again), i);
    listener_.segment_repeated(slice.record.id, "readings were lost on the way");
    session_->append({&repeated_.back().first, 1});
    return true;
  }

  void keep(Slice& slice) {
    if (!listener_.wants_traces()) return;
    part_values_ += value_count(slice);
    slices_.push_back(std::move(slice));
    if (part_values_ >= kPartValues) hand_over_part();
  }

  void hand_over_part() {
    if (slices_.empty()) return;
    listener_.recorded(step_->name(), part_++, session_->tracks(), std::move(slices_));
    slices_.clear();
    part_values_ = 0;
  }

  void add(Finding finding) {
    outcome_.findings.push_back(std::move(finding));
    listener_.found(outcome_.findings.back());
  }

  /// Every characteristic that was promised and did not come forbids a pass.
  void name_missing() {
    std::set<std::string_view> seen;
    for (const auto& finding : outcome_.findings) seen.insert(finding.id);
    std::vector<Finding> missing;
    auto owe = [&](const std::vector<std::string>& ids, const std::string& step) {
      for (const auto& id : ids)
        if (!seen.contains(id)) missing.push_back(not_measured({id, step, ""}, "it was not measured"));
    };
    for (const auto& step : plan_.steps) owe(step->characteristics(), step->name());
    for (const auto& watch : plan_.watches) owe(watch->characteristics(), std::string{watch->name()});
    for (auto& finding : missing) add(std::move(finding));
  }

  void conclude(const std::string& fault) {
    RigHealth health{fault, self_test_passed_};
    if (health.fault.empty() && outcome_.end.reason == EndState::Reason::stopped)
      health.fault = "stopped: " + (cut_short_.empty() ? outcome_.end.text : cut_short_);
    if (health.fault.empty() && outcome_.end.reason == EndState::Reason::fault) health.fault = outcome_.end.text;
    if (health.fault.empty() && !outcome_.end.outputs_safe)
      health.fault = "the bench did not confirm that its outputs are safe: " + outcome_.end.text;
    if (health.fault.empty() && self_test_passed_) name_missing();
    const auto verdict = conclude_run(outcome_.findings, health);
    outcome_.verdict = verdict.verdict;
    outcome_.reason = verdict.reason;
  }

  const Plan& plan_;
  drivers::Bench& bench_;
  RunListener& listener_;
  StopSwitch* stop_;
  std::unique_ptr<drivers::Session> session_;
  std::optional<Slicer> slicer_;
  Chunk chunk_;
  Outcome outcome_;
  const CompiledStep* step_ = nullptr;
  std::vector<Reduction> reductions_;
  std::vector<std::vector<Reduction>> watched_;
  std::vector<int> repeats_;
  std::deque<std::pair<Segment, std::size_t>> repeated_;  ///< must stay where they are until the session is closed
  std::uint32_t next_repeat_id_ = 1u << 24;
  std::size_t outstanding_ = 0;
  std::vector<Slice> slices_;
  std::uint32_t part_ = 0;
  std::size_t part_values_ = 0;
  bool ended_ = false, self_test_passed_ = true;
  std::string cut_short_;
};

Outcome run(const Plan& plan, drivers::Bench& bench, RunListener& listener, StopSwitch* stop,
            ProgramRunner* /*programs*/) {
  return Runner{plan, bench, listener, stop}.run();
}

}  // namespace rig
