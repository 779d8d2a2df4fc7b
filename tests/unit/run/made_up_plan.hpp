#pragma once

#include <functional>
#include <map>
#include <set>

#include "rig/compile/judgement.hpp"
#include "rig/compile/script.hpp"
#include "rig/compile/self_test_step.hpp"
#include "tests/unit/run/emulated_run.hpp"

/// Plans of steps that find what a test wants them to find, on the emulated bench, and a bench that can be made to show
/// what a test wants it to show.
namespace made_up {

using namespace rig;

struct Says {
  std::function<Judged(std::size_t, const Slice&)> judge = [](std::size_t, const Slice&) { return Judged{}; };
  std::function<std::vector<Finding>()> conclude = [] { return std::vector<Finding>{}; };
  bool of_the_fit = false;
  std::map<std::size_t, ProgramCall> programs = {};
};

inline Finding found(const std::string& step, Verdict verdict, std::string reason = {},
                     std::optional<std::uint32_t> segment = {}) {
  Finding finding;
  finding.id = step + "/it";
  finding.step = step;
  finding.in = "V";
  finding.value = 1;
  finding.verdict = verdict;
  finding.reason = std::move(reason);
  finding.segment = segment;
  return finding;
}

class Step final : public CompiledStep {
 public:
  Step(std::string name, std::vector<Segment> segments, Says says)
      : CompiledStep{std::move(name)}, says_{std::move(says)} {
    segments_ = std::move(segments);
  }
  std::string_view kind() const override { return "made_up"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales&) const override { return says_.judge(i, slice); }
  std::vector<Finding> conclude(std::span<const Reduction>) const override { return says_.conclude(); }
  std::vector<std::string> characteristics() const override { return {}; }
  bool of_the_fit() const override { return says_.of_the_fit; }
  const ProgramCall* program_during(std::size_t i) const override {
    const auto call = says_.programs.find(i);
    return call == says_.programs.end() ? nullptr : &call->second;
  }
  std::vector<Finding> judge_program(std::size_t i, const ProgramResult& result) const override {
    Finding finding = found(name(), result.exit_code == 0 ? Verdict::pass : Verdict::void_, result.trouble);
    finding.id = name() + "/program" + std::to_string(i);
    return {finding};
  }

 private:
  Says says_;
};

/// A plan that is put together step by step; ends with the closing self-test unless told otherwise.
class Builder {
 public:
  explicit Builder(BenchSetup bench = shipped::emulated_bench())
      : compiled_{compile(shipped::end_of_line(), bench, capabilities_of(bench)).plan} {
    REQUIRE(compiled_);
    plan_.scenario = compiled_->scenario;
    plan_.bench = compiled_->bench;
    plan_.capture = compiled_->capture;
    plan_.tracks = compiled_->tracks;
    plan_.limits = compiled_->limits;
    const auto can = capabilities_of(plan_.bench);
    script_.emplace(*plan_.scenario.product, plan_.bench, plan_.tracks, can.grid, can.tick_rate);
  }
  Script& script() { return *script_; }
  Plan& plan() { return plan_; }

  Builder& step(const std::string& name, const std::function<void(Script&, std::vector<Segment>&)>& write, Says says) {
    std::vector<Segment> segments;
    write(*script_, segments);
    plan_.segment_count += segments.size();
    plan_.steps.push_back(std::make_unique<Step>(name, std::move(segments), std::move(says)));
    return *this;
  }
  Builder& closing_self_test() {
    plan_.steps.push_back(ask_self_test(SelfTestSpec{}, SelfTestPlace::closing, *script_));
    plan_.segment_count += plan_.steps.back()->segments().size();
    return *this;
  }

 private:
  std::shared_ptr<const Plan> compiled_;
  Plan plan_;
  std::optional<Script> script_;
};

/// Supplies on, lines at 2.5 V, one settled segment.
inline void powered(Script& script, std::vector<Segment>& segments) {
  script.battery(script.product().battery.nominal);
  script.rails(true);
  script.sources(Volts{2.5});
  script.hold(segments, std::chrono::milliseconds{300});
  script.settle(segments, Script::Wait::inputs);
}
inline void still(Script& script, std::vector<Segment>& segments) {
  script.hold(segments, std::chrono::milliseconds{50});
}

/// What the bench is made to show, by session (0: the run, 1: the bench alone) and segment.
using Change = std::function<void(int session, Chunk& chunk)>;

class ChangedSession final : public drivers::Session {
 public:
  ChangedSession(std::unique_ptr<drivers::Session> inner, int number, const Change& change)
      : inner_{std::move(inner)}, number_{number}, change_{change} {}
  const std::vector<TrackInfo>& tracks() const override { return inner_->tracks(); }
  void append(std::span<const Segment> segments) override { inner_->append(segments); }
  void finish() override { inner_->finish(); }
  drivers::Progress next(Chunk& chunk) override {
    const auto progress = inner_->next(chunk);
    change_(number_, chunk);
    return progress;
  }
  void stop(std::string reason) noexcept override { inner_->stop(std::move(reason)); }
  EndState close() noexcept override { return inner_->close(); }

 private:
  std::unique_ptr<drivers::Session> inner_;
  int number_;
  const Change& change_;
};

class ChangedBench final : public drivers::Bench {
 public:
  ChangedBench(const Plan& plan, Change change, const std::vector<std::string>& troubles = {})
      : change_{std::move(change)} {
    std::vector<drivers::BenchTrouble> parsed;
    for (const auto& text : troubles)
      parsed.push_back(std::get<drivers::BenchTrouble>(drivers::parse_bench_trouble(text)));
    inner_ = drivers::open_emulated(plan.bench, plan.scenario.product, {"U-1", {}, false}, parsed);
  }
  const Capabilities& capabilities() const override { return inner_->capabilities(); }
  std::unique_ptr<drivers::Session> open(const drivers::SessionPlan& plan) override {
    return std::make_unique<ChangedSession>(inner_->open(plan), sessions++, change_);
  }
  int sessions = 0;

 private:
  std::unique_ptr<drivers::Bench> inner_;
  Change change_;
};

struct Watching final : RunListener {
  std::vector<Note> notes;
  std::map<std::string, std::vector<Slice>> slices;
  void noted(const Note& note) override { notes.push_back(note); }
  bool wants_traces() const override { return true; }
  void recorded(const std::string& step, std::uint32_t, const std::vector<TrackInfo>&,
                std::vector<Slice>&& part) override {
    for (auto& slice : part) slices[step].push_back(std::move(slice));
  }
};

}  // namespace made_up
