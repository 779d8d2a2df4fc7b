#include "rig/run/run.hpp"

#include <algorithm>
#include <deque>
#include <limits>
#include <set>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"
#include "rig/core/rig_fault.hpp"
#include "rig/run/disturbance.hpp"
#include "rig/run/fit.hpp"
#include "rig/run/missing_findings.hpp"
#include "rig/run/surroundings.hpp"
#include "rig/run/trace_parts.hpp"

namespace rig {

namespace {

constexpr int kMostRepeats = 2;                   ///< of one segment with a gap
constexpr std::uint32_t kFirstRepeat = 1u << 24;  ///< ids of segments that are played again count from here

bool has_gap(const Slice& slice) {
  return std::any_of(slice.tracks.begin(), slice.tracks.end(), [](const TrackSlice& t) { return t.gap; });
}

}  // namespace

/// One run, from open to close.
class Runner {
 public:
  Runner(const Plan& plan, drivers::Bench& bench, RunListener& listener, StopSwitch* stop, ProgramRunner* programs)
      : plan_{plan}, bench_{bench}, listener_{listener}, stop_{stop}, programs_{programs} {}

  Outcome run() {
    watched_.resize(plan_.watches.size());
    std::string fault = in_a_session([this] { play(); });
    if (fault.empty() && (enough_ || !disturbance_.empty()) && outcome_.end.outputs_safe) {
      fault = in_a_session([this] { test_bench_alone(); });
      if (fault.empty() && outcome_.end.reason == EndState::Reason::completed) judge_alone();
    }
    conclude(fault);
    return std::move(outcome_);
  }

 private:
  /// Opens a session, has it played, closes it. The fault that ended it, or nothing.
  template <class Play>
  std::string in_a_session(Play play_it) {
    std::string fault;
    try {
      drivers::SessionPlan open;
      open.capture = plan_.capture;
      open.limits = plan_.limits;
      open.wheels = {{plan_.bench.wiring.speed.source, plan_.scenario.product->speed.wheel}};
      session_ = bench_.open(open);
      if (stop_) stop_->attach(session_.get());
      slicer_.emplace(session_->tracks(), bench_.capabilities().tick_rate);
      played_before_ = outcome_.bench_duration;
      ended_ = false;
      play_it();
    } catch (const RigFault& rig_fault) {
      fault = rig_fault.what();
    }
    end_program();
    if (stop_) stop_->attach(nullptr);
    if (session_)
      outcome_.end = session_->close();
    else
      outcome_.end = {EndState::Reason::fault, fault, false, {}};
    session_.reset();
    if (!fault.empty()) outcome_.end.reason = EndState::Reason::fault, outcome_.end.text = fault;
    return fault;
  }

  void play() {
    for (const auto& step : plan_.steps) {
      if (ended_ || !play_step(*step)) break;
      if (step->of_the_fit() && !sits_well(*step)) break;
    }
    finish_session();
    if (reseat_ || enough_ || !disturbance_.empty()) return;
    for (std::size_t w = 0; w < plan_.watches.size(); ++w) {
      for (auto& finding : plan_.watches[w]->conclude(watched_[w])) {
        // A run that was cut short has not seen enough to say so of the rig, nor that anything passes.
        if (cut_short() && finding.verdict != Verdict::fail) continue;
        if (plan_.watches[w]->of_the_rig() && !ended_)
          self_test_passed_ = self_test_passed_ && finding.verdict == Verdict::pass;
        add(std::move(finding));
      }
    }
  }

  bool cut_short() const { return reseat_ || unfit_ || enough_ || !disturbance_.empty(); }

  void finish_session() {
    if (ended_) return;
    session_->finish();
    while (session_->next(chunk_) != drivers::Progress::ended) {
    }
  }

  /// After a step about how the unit sits: false when the run ends here. Nothing has been powered yet, and nothing of
  /// the unit will be.
  bool sits_well(const CompiledStep& step) {
    const auto fit = fit_of(step.name(), outcome_.findings, rig_trouble_in_);
    reseat_ = fit == Fit::reseat;
    unfit_ = fit == Fit::bad || fit == Fit::unknown;
    if (unfit_ && closing_test_with_unit_cut_off()) play_step(*closing_test_with_unit_cut_off());
    return fit == Fit::good;
  }

  /// The closing self-test, when the scenario has one and the bench can cut the unit off for it.
  const CompiledStep* closing_test_with_unit_cut_off() const {
    if (!plan_.bench.wiring.isolator || plan_.steps.empty() || !plan_.steps.back()->of_the_rig()) return nullptr;
    return plan_.steps.back().get();
  }

  void test_bench_alone() {
    alone_ = true;
    const auto& step = *closing_test_with_unit_cut_off();
    play_step(step);
    finish_session();
    std::set<std::string_view> seen;
    for (const auto& finding : outcome_.findings) seen.insert(finding.id);
    for (const auto& id : step.characteristics()) well_alone_ = well_alone_ && seen.contains(id);
  }

  void judge_alone() {
    self_test_passed_ = self_test_passed_ && well_alone_;
    if (!self_test_passed_ || disturbance_.empty()) return;
    Finding finding;
    finding.id = "disturbance/bench";
    finding.step = "disturbance";
    finding.value = std::numeric_limits<double>::quiet_NaN();
    finding.segment = disturbed_in_;
    add(failed(std::move(finding), disturbance_ + ", and the bench is well once the unit is cut off"));
  }

  /// False when the run must not go on.
  bool play_step(const CompiledStep& step) {
    step_ = &step;
    reductions_.assign(step.segments().size(), {});
    repeats_.assign(step.segments().size(), 0);
    parts_.begin(step.name(), session_->tracks());
    const std::size_t all = step.segments().size();
    for (std::size_t from = 0; from < all && !ended_;) {
      if (const auto* call = step.program_during(from)) {
        play_with_program(from++, *call);
        continue;
      }
      std::size_t to = from + 1;
      while (to < all && !step.program_during(to)) ++to;
      play_stretch(from, to);
      from = to;
    }
    parts_.hand_over();
    if (ended_) return false;
    for (auto& finding : step.conclude(reductions_)) add(std::move(finding));
    if (!step.of_the_rig()) return true;
    self_test_passed_ = self_test_passed_ && rig_is_well(step);
    return self_test_passed_;
  }

  /// Segments one after the other, appended at once.
  void play_stretch(std::size_t from, std::size_t to) {
    outstanding_ = to - from;
    const auto stretch = std::span{step_->segments()}.subspan(from, to - from);
    if (alone_ && from == 0) {
      first_alone_ = with_speed_line_at_rest(plan_, stretch.front());
      session_->append({&first_alone_, 1});
    }
    session_->append(alone_ && from == 0 ? stretch.subspan(1) : stretch);
    while (outstanding_ > 0) {
      const auto progress = session_->next(chunk_);
      for (auto& slice : slicer_->take(chunk_)) take(slice);
      if (progress == drivers::Progress::ended) {
        ended_ = true;
        break;
      }
      if (progress == drivers::Progress::idle && outstanding_ > 0)
        throw RigFault{
            "bench",
            fmt::format("{} of {} segments of step '{}' were not handed out", outstanding_, to - from, step_->name()),
            "This is a fault of the driver: report it"};
      heed_stop();
    }
  }

  void heed_stop() {
    if (auto why = listener_.must_stop(); !why.empty()) {
      cut_short_ = why;
      session_->stop(why);
    }
  }

  /// Plays a segment over and over until the program beside it has ended; the last playing is the one that is judged.
  /// So the outputs are held under the bench's own lease all the while.
  void play_with_program(std::size_t i, const ProgramCall& call) {
    std::optional<ProgramResult> result;
    if (programs_) {
      programs_->start(call);
      program_runs_ = true;
    } else {
      result = ProgramResult{std::nullopt, "there is nobody here who can run a program"};
    }
    session_->append(std::span{step_->segments()}.subspan(i, 1));
    outstanding_ = 1;
    while (outstanding_ > 0) {
      const auto progress = session_->next(chunk_);
      if (!result && (result = programs_->ended())) program_runs_ = false;
      for (auto& slice : slicer_->take(chunk_)) {
        if (result || slice.record.reason == SegmentEnd::stopped)
          take(slice);
        else
          once_more(i, slice);
      }
      if (progress == drivers::Progress::ended) {
        ended_ = true;
        break;
      }
      heed_stop();
    }
    end_program();
    if (ended_) return;
    for (auto& finding : step_->judge_program(i, *result)) add(std::move(finding));
  }

  /// The watches look at every playing.
  void once_more(std::size_t i, const Slice& slice) {
    ++outcome_.segments_played;
    outcome_.bench_duration = played_before_ + slice.record.end.since_start();
    const Scales scales{session_->tracks(), bench_.capabilities().tick_rate};
    look(slice, scales);
    play_again(i, step_->segments()[i]);
    listener_.progressed({step_->name(), outcome_.segments_played,
                          std::max(plan_.segment_count, outcome_.segments_played), slice.record.end});
  }

  void end_program() {
    if (program_runs_) programs_->kill();
    program_runs_ = false;
  }

  bool rig_is_well(const CompiledStep& step) const {
    return std::all_of(outcome_.findings.begin(), outcome_.findings.end(),
                       [&](const Finding& f) { return f.step != step.name() || f.verdict == Verdict::pass; });
  }

  void take(Slice& slice) {
    ++outcome_.segments_played;
    outcome_.bench_duration = played_before_ + slice.record.end.since_start();
    if (slice.record.reason == SegmentEnd::stopped) return;
    const auto i = position(slice.record.id);
    const Scales scales{session_->tracks(), bench_.capabilities().tick_rate};
    const auto& segment = step_->segments()[i];
    asked_.follow(segment);
    auto judged = step_->judge(i, slice, scales);
    if (has_gap(slice) && !step_->program_during(i) && repeat(i, slice)) return;
    surroundings_.note(plan_, slice, scales, listener_);
    weigh(judged, segment, slice, scales);
    reductions_[i] = std::move(judged.reduction);
    for (auto& finding : judged.findings) add(std::move(finding));
    for (const auto& note : judged.notes) listener_.noted(note);
    look(slice, scales);
    --outstanding_;
    stop_when_enough();
    parts_.keep(slice);
    listener_.progressed({step_->name(), outcome_.segments_played,
                          std::max(plan_.segment_count + outcome_.segments_repeated, outcome_.segments_played),
                          slice.record.end});
  }

  void stop_when_enough() {
    if (alone_ || enough_ || !disturbance_.empty() || step_->of_the_rig() || step_->of_the_fit()) return;
    if (!listener_.knows_enough() || !closing_test_with_unit_cut_off()) return;
    enough_ = true;
    session_->stop("enough is known of the unit");
  }

  void look(const Slice& slice, const Scales& scales) {
    for (std::size_t w = 0; w < plan_.watches.size(); ++w) watched_[w].push_back(plan_.watches[w]->look(slice, scales));
  }

  /// What is behind a void: when it may be the unit, and the bench can be tested without it, the unit is cut off now.
  void weigh(const Judged& judged, const Segment& segment, const Slice& slice, const Scales& scales) {
    if (alone_) well_alone_ = well_alone_ && rig::well_alone(segment, slice);
    const bool voided = std::any_of(judged.findings.begin(), judged.findings.end(),
                                    [](const Finding& f) { return f.verdict == Verdict::void_; });
    if (!voided && (judged.reduction.voided.empty() || !judged.findings.empty())) return;
    const auto cause = behind_void(plan_, segment, slice, scales, asked_);
    if (cause.behind == Behind::rig || (step_->of_the_fit() && sense_at_its_end(slice)))
      rig_trouble_in_.insert(slice.record.id);
    if (cause.behind != Behind::unit || !disturbance_.empty()) return;
    if (step_->of_the_rig() || step_->of_the_fit() || !closing_test_with_unit_cut_off()) return;
    disturbance_ = cause.what;
    disturbed_in_ = slice.record.id;
    session_->stop("the unit is cut off: " + cause.what);
  }

  /// Which of the step's segments a record belongs to, repeats included.
  std::size_t position(std::uint32_t id) const {
    if (id >= kFirstRepeat) return repeated_[id - kFirstRepeat].second;
    return id - step_->segments().front().id;
  }

  /// A gap that could not be mended: the segment is played again, at most twice, where its step allows it.
  bool repeat(std::size_t i, const Slice& slice) {
    if (repeats_[i] >= kMostRepeats) return false;
    auto again = step_->again(i);
    if (!again) return false;
    ++repeats_[i];
    ++outcome_.segments_repeated;
    play_again(i, std::move(*again));
    listener_.segment_repeated(slice.record.id, "readings were lost on the way");
    return true;
  }

  void play_again(std::size_t i, Segment segment) {
    segment.id = kFirstRepeat + static_cast<std::uint32_t>(repeated_.size());
    repeated_.emplace_back(std::move(segment), i);
    session_->append({&repeated_.back().first, 1});
  }

  void add(Finding finding) {
    outcome_.findings.push_back(std::move(finding));
    listener_.found(outcome_.findings.back());
  }

  void conclude(const std::string& fault) {
    RigHealth health{fault, self_test_passed_, false, {}};
    if (health.fault.empty() && outcome_.end.reason == EndState::Reason::stopped)
      health.fault = "stopped: " + (cut_short_.empty() ? outcome_.end.text : cut_short_);
    if (health.fault.empty() && outcome_.end.reason == EndState::Reason::fault) health.fault = outcome_.end.text;
    if (health.fault.empty() && !outcome_.end.outputs_safe)
      health.fault = "the bench did not confirm that its outputs are safe: " + outcome_.end.text;
    health.reseat = health.fault.empty() && self_test_passed_ && reseat_;
    health.disturbance = health.fault.empty() && self_test_passed_ ? disturbance_ : "";
    outcome_.reseat = health.reseat;
    if (health.fault.empty() && self_test_passed_ && !cut_short())
      for (auto& finding : missing_findings(plan_, outcome_.findings)) add(std::move(finding));
    const auto verdict = conclude_run(outcome_.findings, health);
    outcome_.verdict = verdict.verdict;
    outcome_.reason = verdict.reason;
  }

  const Plan& plan_;
  drivers::Bench& bench_;
  RunListener& listener_;
  StopSwitch* stop_;
  ProgramRunner* programs_;
  std::unique_ptr<drivers::Session> session_;
  std::optional<Slicer> slicer_;
  Chunk chunk_;
  Outcome outcome_;
  const CompiledStep* step_ = nullptr;
  std::vector<Reduction> reductions_;
  std::vector<std::vector<Reduction>> watched_;
  std::vector<int> repeats_;
  std::deque<std::pair<Segment, std::size_t>> repeated_;  ///< must stay where they are until the session is closed
  std::size_t outstanding_ = 0;
  TraceParts parts_{listener_};
  bool ended_ = false, self_test_passed_ = true;
  std::string cut_short_;
  Nanoseconds played_before_{0};  ///< in the session before this one
  bool program_runs_ = false;
  Surroundings surroundings_;
  bool reseat_ = false;  ///< the unit does not sit well
  bool unfit_ = false;   ///< the run ends with a step about how it sits, for another reason
  OutputsAsked asked_;
  std::set<std::uint32_t> rig_trouble_in_;  ///< segments whose voids are the rig's own
  std::string disturbance_;                 ///< what the unit may be doing to the bench; it has been cut off for it
  std::optional<std::uint32_t> disturbed_in_;
  bool enough_ = false;                     ///< the listener has what it asks for
  bool alone_ = false, well_alone_ = true;  ///< the bench, the unit cut off
  Segment first_alone_;                     ///< must stay where it is until the session is closed
};

Outcome run(const Plan& plan, drivers::Bench& bench, RunListener& listener, StopSwitch* stop, ProgramRunner* programs) {
  return Runner{plan, bench, listener, stop, programs}.run();
}

}  // namespace rig
