#include "rig/compile/speed_line_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/readings.hpp"
#include "rig/compile/speed_line_judge.hpp"
#include "rig/compile/sweep_points.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;     ///< relays travel and bounce at most 5 ms (common practice, no source)
constexpr Nanoseconds kDischarge = 50ms;  ///< everything off, before the line is looked at without power
constexpr Nanoseconds kSteady = 20ms;     ///< of a line at a new speed or level: far more than its own time constants
constexpr Celsius kAmbient{25};

Nanoseconds cycle(Rpm speed) { return Nanoseconds{std::llround(120e9 / speed.value())}; }
Nanoseconds whole_bins(Nanoseconds d) { return (d + 1ms - 1ns) / 1ms * 1ms; }

class SpeedLineStep final : public CompiledStep {
 public:
  SpeedLineStep(const SpeedLineSpec& spec, const RunFacts& facts, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        judge_{spec, facts, script.product(), script.bench(), script.tracks()} {
    std::sort(spec_.speeds.begin(), spec_.speeds.end());
    write(script);
  }
  std::string_view kind() const override { return "speed_line"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override {
    return judge_.look(looks_[i], slice, scales);
  }
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    return judge_.conclude(looks_, reductions);
  }
  std::vector<std::string> characteristics() const override { return judge_.characteristics(looks_); }
  /// Every segment that is looked at under power says all of itself and leaves the line as it should be.
  std::optional<Segment> again(std::size_t i) const override {
    const auto at = looks_[i].at;
    const bool alone = at != SpeedLook::At::nothing && at != SpeedLook::At::unpowered;
    return alone ? std::optional{segments_[i]} : std::nullopt;
  }

 private:
  void write(Script& script);
  void write_plug(Script& script);
  void turn_off(Script& script);
  void put_under_power(Script& script, Rpm speed) const;
  void look(Script& script, SpeedLook look);
  void write_threshold(Script& script, SpeedLook::At at);
  void set_edges(Script& script, bool disturbed) const;

  SpeedLineSpec spec_;
  Product product_;
  BenchSetup bench_;
  SpeedLineJudge judge_;
  std::vector<SpeedLook> looks_;  ///< one per segment
};

void SpeedLineStep::write(Script& script) {
  turn_off(script);
  if (product_.straight_through) return write_plug(script);
  const bool tapped = product_.speed.routing == SpeedRouting::tapped;
  const auto slowest = spec_.speeds.front();
  if (tapped) {
    script.speed(slowest);
    look(script, {SpeedLook::At::unpowered, slowest, kSteady, kSteady + whole_bins(2 * cycle(slowest))});
  }
  put_under_power(script, slowest);
  script.hold(segments_, product_.timing.boot);
  looks_.push_back({});
  if (judges_own_pull_up(product_)) {
    put_under_power(script, slowest);
    script.relay(bench_.wiring.speed.pull_up_switch, false);
    const SpeedLook open{SpeedLook::At::own_pull_up, slowest, kRelays + kSteady,
                         kRelays + kSteady + whole_bins(2 * cycle(slowest))};
    script.after(open.to);
    script.relay(bench_.wiring.speed.pull_up_switch, true);
    look(script, open);
  }
  for (const auto speed : spec_.speeds) {
    put_under_power(script, speed);
    look(script,
         {SpeedLook::At::levels, speed, kSteady, kSteady + whole_bins(std::max(2 * cycle(speed), 100ms + 0ns))});
  }
  if (spec_.raised_lows) write_threshold(script, SpeedLook::At::raised_lows);
  if (spec_.lowered_highs) write_threshold(script, SpeedLook::At::lowered_highs);
  if (spec_.slow_noisy_edges) write_threshold(script, SpeedLook::At::slow_noisy_edges);
}

/// A plug draws nothing and listens to nothing.
void SpeedLineStep::write_plug(Script& script) {
  for (const auto speed : spec_.speeds) {
    script.speed(speed);
    look(script,
         {SpeedLook::At::levels, speed, kSteady, kSteady + whole_bins(std::max(2 * cycle(speed), 100ms + 0ns))});
  }
}

void SpeedLineStep::turn_off(Script& script) {
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.speed(Rpm{0});
  script.hold(segments_, kDischarge);
  looks_.push_back({});
}

void SpeedLineStep::put_under_power(Script& script, Rpm speed) const {
  SweepSpec point;  // the sweep's rule for how the second pressure lies to the first
  point.speeds = {spec_.seen_at};
  point.pressures = {spec_.pressure};
  const auto at = sweep_points(product_, point).front();
  script.battery(product_.battery.nominal);
  script.rails(true);
  script.temperature(kAmbient);
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) script.pressure(c, at.pressures[c]);
  script.speed(speed);
}

/// Ends the segment a little after the look, so that what was changed for it is changed back inside it.
void SpeedLineStep::look(Script& script, SpeedLook look) {
  script.hold(segments_, look.to + kRelays);
  looks_.push_back(look);
}

void SpeedLineStep::set_edges(Script& script, bool disturbed) const {
  const auto& wiring = bench_.wiring.speed;
  if (wiring.slow_edges) script.relay(wiring.slow_edges->relay, disturbed);
  if (wiring.noise) script.relay(wiring.noise->relay, disturbed);
}

void SpeedLineStep::write_threshold(Script& script, SpeedLook::At at) {
  const auto& wiring = bench_.wiring.speed;
  const auto circuit = speed_circuit(product_, bench_);
  put_under_power(script, spec_.seen_at);
  // By then an output has answered to the speed, and has had the time that the product allows it to settle.
  const auto& timing = product_.timing;
  const auto intervals =
      Nanoseconds{std::llround((timing.speed_intervals + 1) *
                               static_cast<double>(longest_interval(product_.speed.wheel, spec_.seen_at).count()))};
  const auto answered = whole_bins(kRelays + timing.latency + intervals + timing.settle_limit);
  const auto disturbed = answered + timing.settle_window, from = disturbed + answered;
  script.after(disturbed);
  if (at == SpeedLook::At::raised_lows)
    script.output(wiring.foot, circuit.foot_for(raised_low(product_, circuit)));
  else if (at == SpeedLook::At::lowered_highs)
    script.output(wiring.pull_up_supply, circuit.supply_for(lowered_high(product_, circuit)));
  else
    set_edges(script, true);
  // Noise meets an edge where it can be counted twice only now and then: the more edges, the surer.
  const int cycles = at == SpeedLook::At::slow_noisy_edges ? 16 : 8;
  const auto length = std::max(whole_bins(cycles * cycle(spec_.seen_at)), Nanoseconds{200ms});
  script.after(from + length);
  if (at == SpeedLook::At::raised_lows)
    script.output(wiring.foot, Volts{0});
  else if (at == SpeedLook::At::lowered_highs)
    script.output(wiring.pull_up_supply, product_.speed.pull_up_to);
  else
    set_edges(script, false);
  look(script, {at, spec_.seen_at, from, from + length, answered});
}

}  // namespace

std::unique_ptr<CompiledStep> ask_speed_line(const SpeedLineSpec& spec, const RunFacts& facts, Script& script) {
  return std::make_unique<SpeedLineStep>(spec, facts, script);
}

}  // namespace rig
