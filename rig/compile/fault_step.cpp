#include "rig/compile/fault_step.hpp"

#include <algorithm>

#include "rig/compile/fault_judge.hpp"
#include "rig/compile/fault_strip.hpp"
#include "rig/compile/judgement.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kOff = 300ms;  ///< power away between two runs of faults
constexpr Nanoseconds kRest = 60ms;  ///< after a start, before anything is judged

/// Case by case: to its point, the fault, its end, the recovery. Power is cycled where a case must latch, and after a
/// few fall-backs in a row: 0.6 s, while the module's own count of them would take 10 s to run out.
class Fault final : public CompiledStep {
 public:
  Fault(const FaultSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()} {
    for (const auto& one : spec_.cases) judges_.emplace_back(product_, bench_, tracks_, spec_, one);
    write(script);
  }
  std::string_view kind() const override { return "fault"; }
  int judge_version() const override { return 1; }

  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override {
    Judged judged;
    judged.reduction.segment = slice.record.id;
    const auto& played = played_[i];
    if (i == 0)
      for (const auto& left_out : spec_.left_out) judged.notes.push_back({"left_out", name() + ": " + left_out});
    if (!played.of) return judged;
    const Readings readings{bench_, slice, scales};
    const auto& judge = judges_[*played.of];
    judged.findings = played.restart ? judge.judge_restart(readings, 0ms) : judge.judge(readings);
    return judged;
  }

  std::vector<Finding> conclude(std::span<const Reduction>) const override { return {}; }

  std::vector<std::string> characteristics() const override {
    std::vector<std::string> ids;
    for (const auto& judge : judges_)
      for (const auto& all : {judge.ids(), judge.restart_ids()}) ids.insert(ids.end(), all.begin(), all.end());
    return ids;
  }

  std::vector<Strip> strips(std::size_t i, const Slice& slice, const Scales& scales) const override {
    const auto& played = played_[i];
    if (!played.of || played.restart) return {};
    return strips_of(judges_[*played.of], product_, tracks_, {bench_, slice, scales}, spec_.temperature);
  }

  std::vector<Disturbed> disturbed() const override {
    std::vector<Disturbed> all;
    for (std::size_t i = 0; i < played_.size(); ++i) {
      if (!played_[i].of || played_[i].restart) continue;
      const auto& judge = judges_[*played_[i].of];
      for (std::size_t c = 0; c < product_.pressures.size(); ++c)
        if (judge.forced(c))
          all.push_back({segments_[i].id, c, judge.times().first,
                         judge.times().off + judge.times().travel + 3 * product_.timing.slowest});
    }
    return all;
  }

 private:
  struct Played {
    std::optional<std::size_t> of;  ///< the case that the segment is judged for
    bool restart = false;           ///< ... after it has latched
  };
  void note(std::optional<std::size_t> of = {}, bool restart = false) {
    while (played_.size() < segments_.size()) played_.push_back({of, restart});
  }

  void set_point(const FaultPoint& point, Script& script) {
    const auto pressures = pressures_at(product_, point);
    for (std::size_t c = 0; c < pressures.size(); ++c) script.pressure(c, pressures[c]);
    script.speed(point.speed);
    here_ = point;
  }

  void start(const FaultPoint& point, Script& script) {
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.speed(Rpm{0});
    script.hold(segments_, kOff);
    note();
    script.battery(product_.battery.nominal);
    script.rails(true);
    script.temperature(spec_.temperature);
    set_point(point, script);
    fallen_ = 0;
  }

  void write(Script& script) {
    for (std::size_t i = 0; i < spec_.cases.size(); ++i) {
      const auto& one = spec_.cases[i];
      const bool counts = falls_back(product_, one);
      const bool latches = one.owed.recovery.how == Recovering::latched;
      const int more = latches ? spec_.power_cycle_after : counts ? 1 : 0;
      if (!here_ || (fallen_ > 0 && fallen_ + more > spec_.power_cycle_after)) {
        start(one.at, script);
        script.hold(segments_, product_.timing.boot + kRest);
      } else if (here_->speed != one.at.speed || here_->pressure != one.at.pressure) {
        set_point(one.at, script);
        script.settle(segments_);
      }
      note();
      play_fault(one, spec_.temperature, segments_, script);
      note(i);
      if (one.during) here_ = one.during->to;
      if (counts) ++fallen_;
      if (cycles_power(one)) fallen_ = 0;
      if (one.owed.recovery.how == Recovering::by_itself) continue;
      start(one.at, script);
      script.hold(segments_, std::max(product_.timing.boot, one.owed.recovery.within) + kRest);
      note(latches ? std::optional{i} : std::nullopt, latches);
    }
  }

  FaultSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<FaultJudge> judges_;
  std::vector<Played> played_;
  std::optional<FaultPoint> here_;
  int fallen_ = 0;  ///< fall-backs since power was last cycled
};

}  // namespace

std::unique_ptr<CompiledStep> ask_fault(const FaultSpec& spec, Script& script) {
  return std::make_unique<Fault>(spec, script);
}

}  // namespace rig
