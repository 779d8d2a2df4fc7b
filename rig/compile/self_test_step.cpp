#include "rig/compile/self_test_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/looks.hpp"
#include "rig/compile/self_test_faults.hpp"
#include "rig/compile/self_test_loads.hpp"
#include "rig/compile/self_test_timing.hpp"
#include "rig/compile/speed_circuit.hpp"
#include "rig/core/characteristic.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;     ///< relays travel and bounce at most 5 ms (common practice, no source)
constexpr Nanoseconds kDischarge = 50ms;  ///< for the unit's own capacitors, before its lines are cut

class SelfTest final : public CompiledStep {
 public:
  SelfTest(const SelfTestSpec& spec, SelfTestPlace place, Script& script)
      : CompiledStep{place == SelfTestPlace::opening ? spec.name : spec.name + "_closing"},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        bench_lines_{bench_lines(product_, bench_, tracks_)},
        loads_{product_, bench_, tracks_},
        faults_{product_, bench_, tracks_} {
    write(place, script);
  }

  std::string_view kind() const override { return "self_test"; }
  int judge_version() const override { return 3; }
  bool of_the_rig() const override { return true; }

  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override {
    auto findings = loads_.conclude(name(), reductions);
    for (auto& finding : faults_.conclude(name(), reductions)) findings.push_back(std::move(finding));
    return findings;
  }
  std::vector<std::string> characteristics() const override;

 private:
  void write(SelfTestPlace place, Script& script);
  struct Line {
    std::string name;
    const LineWiring* wiring;
    TrackMap::Line tracks;
  };
  std::vector<Line> lines() const;
  std::string id(std::string_view what) const { return fmt::format("{}/{}", name(), what); }
  std::string level_id(std::string_view what, const std::string& line, Volts level) const {
    return id(fmt::format("{}/{}@{}V", what, line, shortest_text(level.value())));
  }
  void judge_levels(const Readings& readings, Volts level, std::vector<Finding>& findings) const;
  void judge_supplies(const Readings& readings, std::vector<Finding>& findings) const;
  void judge_speed(const Readings& readings, std::vector<Finding>& findings) const;
  void judge_speed_levels(const Readings& readings, std::vector<Finding>& findings) const;
  void judge_switches(const Readings& readings, std::vector<Finding>& findings) const;
  void judge_again(const Readings& readings, std::vector<Finding>& findings) const;
  /// Looped back, both senses of the speed line see the drain and the bench's pull-up.
  bool sees_speed_levels() const {
    return bench_.wiring.loop_back && tracks_.speed_in && tracks_.speed_out &&
           product_.speed.pull_up_at != PullUpPlace::module;
  }
  Finding against(std::string what, TrackId track, double expected, double allowance, const Readings& readings,
                  const std::string& remedy) const;

  SelfTestSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> bench_lines_;
  SelfTestLoads loads_;
  SelfTestFaults faults_;
  std::size_t first_level_ = 0, switches_ = 0, again_ = 0;
};

std::vector<SelfTest::Line> SelfTest::lines() const {
  std::vector<Line> all;
  for (std::size_t i = 0; i < product_.pressures.size(); ++i)
    all.push_back({product_.pressures[i].name, bench_.wiring.line(product_.pressures[i].name), tracks_.pressures[i]});
  if (product_.temperature)
    all.push_back({product_.temperature->name, bench_.wiring.line(product_.temperature->name), *tracks_.temperature});
  return all;
}

void SelfTest::write(SelfTestPlace place, Script& script) {
  const auto& wiring = bench_.wiring;
  if (place == SelfTestPlace::closing) {
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.speed(Rpm{0});
    script.hold(segments_, kDischarge);
  }
  script.relay(wiring.isolator, false);
  script.relay(wiring.loop_back, true);
  for (const auto& line : wiring.lines) {
    if (line.load) script.relay(line.load->relay, false);
    if (line.second_load) script.relay(line.second_load->relay, false);
  }
  script.hold(segments_, kRelays);

  script.battery(product_.battery.nominal);
  script.rails(true);
  script.speed(spec_.speed);
  script.sources(spec_.levels.front());
  script.hold(segments_, kRelays);

  first_level_ = segments_.size();
  for (const auto level : spec_.levels) {
    script.sources(level);
    script.settle(segments_, Script::Wait::inputs);
  }
  if (wiring.loop_back) loads_.write(spec_.levels, script, segments_);
  script.sources(spec_.levels.back());
  const auto make = [&](bool closed) {
    for (const auto& line : lines()) script.relay(line.wiring->fault_switch, closed);
    script.relay(wiring.speed.pull_up_switch, closed);
    script.hold(segments_, kRelays + product_.timing.settle_window);
    return segments_.size() - 1;
  };
  switches_ = make(false);
  again_ = make(true);
  if (wiring.loop_back) faults_.write(spec_.levels, script, segments_);
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.speed(Rpm{0});
  script.hold(segments_, kRelays);
  if (place == SelfTestPlace::opening) {
    script.relay(wiring.loop_back, false);
    script.relay(wiring.isolator, true);
    for (const auto& line : wiring.lines)
      if (line.load) script.relay(line.load->relay, true);
    script.hold(segments_, kRelays);
  }
}

Finding SelfTest::against(std::string what, TrackId track, double expected, double allowance, const Readings& readings,
                          const std::string& remedy) const {
  const auto& port = bench_.ports[index(readings.scales().tracks[index(track)].track.port)];
  const char* unit = port.kind == PortKind::current_sense ? "A" : "V";
  const auto segment = readings.slice().record.id;
  const auto reading = readings.at_end(track, product_.timing.settle_window);
  if (reading.bins == 0)
    return not_measured({std::move(what), name(), unit}, "port '" + port.name + "' gave no readings", segment);
  const double tolerance = allowance + limit_of_error(port, expected) + port.resolution;
  auto finding = measured({std::move(what), name(), unit}, reading.value, expected,
                          Band::around(expected, {tolerance, 0}), 0, segment);
  if (reading.high >= port.high - port.resolution || (port.low < 0 && reading.low <= port.low + port.resolution)) {
    finding.verdict = Verdict::void_;
    finding.reason = "port '" + port.name + "' is at the end of its range";
  }
  return rig::of_the_rig(std::move(finding), remedy);
}

void SelfTest::judge_levels(const Readings& readings, Volts level, std::vector<Finding>& findings) const {
  for (const auto& line : lines()) {
    const auto& source = bench_.ports[index(line.wiring->source)];
    const double allowance = limit_of_error(source, level.value());
    const auto remedy = fmt::format("Check the wire of {} and the calibration of source '{}'", line.name, source.name);
    findings.push_back(
        against(level_id("in", line.name, level), line.tracks.in, level.value(), allowance, readings, remedy));
    if (bench_.wiring.loop_back)
      findings.push_back(
          against(level_id("out", line.name, level), line.tracks.out, level.value(), allowance, readings, remedy));
  }
}

void SelfTest::judge_supplies(const Readings& readings, std::vector<Finding>& findings) const {
  const auto& battery = bench_.ports[index(bench_.wiring.battery)];
  const double volts = product_.battery.nominal.value();
  findings.push_back(against(id("battery"), tracks_.battery, volts, limit_of_error(battery, volts), readings,
                             "Check the supply '" + battery.name + "'"));
  findings.push_back(against(id("battery_current"), tracks_.current, 0, 0, readings,
                             "Something draws current with the unit cut off: check the isolator"));
  for (std::size_t i = 0; i < product_.rails.size(); ++i) {
    const auto* rail = bench_.wiring.rail(product_.rails[i].name);
    const auto& source = bench_.ports[index(rail->source)];
    const double nominal = product_.rails[i].nominal.value();
    findings.push_back(against(id(product_.rails[i].name), tracks_.rails[i].controller, nominal,
                               limit_of_error(source, nominal), readings, "Check the supply '" + source.name + "'"));
  }
  if (tracks_.ground)
    findings.push_back(against(id("ground"), *tracks_.ground, 0, 0, readings,
                               "The ground sense is off with no current in the ground: calibrate it"));
  if (tracks_.check_standard) {
    findings.push_back(
        against(id("check_standard"), *tracks_.check_standard, bench_.check_standard_value.value(),
                bench_.check_standard_error.value(), readings,
                "The captures' common reference or the check standard has drifted: calibrate the bench"));
  }
}

void SelfTest::judge_speed(const Readings& readings, std::vector<Finding>& findings) const {
  const auto segment = readings.slice().record.id;
  const auto& in = readings.slice().tracks[index(tracks_.edges_in)];
  const auto& out = readings.slice().tracks[index(tracks_.edges_out)];
  const auto speed = measured_speed(in, product_.speed.wheel, spec_.speed, readings.scales().tick_rate);
  const std::string remedy = "Check the pulse source and its capture";
  if (!speed) {
    findings.push_back(not_measured({id("speed"), name(), "rpm"}, "no speed signal came back. " + remedy, segment));
  } else {
    findings.push_back(
        rig::of_the_rig(measured({id("speed"), name(), "rpm"}, speed->value.value(), spec_.speed.value(),
                                 Band::around(spec_.speed.value(), {0, 0.001}), speed->uncertainty.value(), segment),
                        remedy));
  }
  const double lost = static_cast<double>(edge_count(in)) - static_cast<double>(edge_count(out));
  findings.push_back(
      rig::of_the_rig(measured({id("edges_lost"), name(), "edges"}, lost, 0.0, {-1.0, 1.0}, 0, segment), remedy));
}

/// Levels are extremes: a sense that is not connected, or a pull-up or drain that does not do its part, lies far off.
void SelfTest::judge_speed_levels(const Readings& readings, std::vector<Finding>& findings) const {
  constexpr double kParts = 0.03;  // of the swing: resistors and contacts (common practice, no source)
  const auto circuit = speed_circuit(product_, bench_);
  const Nanoseconds cycle{std::llround(120e9 / spec_.speed.value())};
  const std::pair<const char*, TrackId> senses[] = {{"speed_in", *tracks_.speed_in}, {"speed_out", *tracks_.speed_out}};
  for (const auto& [what, track] : senses) {
    const auto reading = readings.at_end(track, cycle);
    const auto& port = bench_.ports[index(readings.scales().tracks[index(track)].track.port)];
    for (const bool high : {false, true}) {
      const double should = (high ? circuit.high(product_.speed.pull_up_to) : circuit.low(Volts{0})).value();
      const double allowed = kParts * product_.speed.pull_up_to.value() +
                             (high ? circuit.high_error : circuit.low_error).value() + 3 * limit_of_error(port, should);
      auto finding = measured({id(fmt::format("{}/{}", what, high ? "high" : "low")), name(), "V"},
                              reading.bins == 0 ? std::nan("")
                              : high            ? reading.high
                                                : reading.low,
                              should, Band::around(should, {allowed, 0}), 0, readings.slice().record.id);
      findings.push_back(rig::of_the_rig(
          std::move(finding),
          fmt::format("Check the wire of '{}', the pull-up and what the pulse source pulls down to", port.name)));
    }
  }
}

void SelfTest::judge_switches(const Readings& readings, std::vector<Finding>& findings) const {
  for (const auto& line : lines()) {
    if (!line.wiring->fault_switch) continue;
    const auto& port = bench_.ports[index(*line.wiring->fault_switch)];
    const auto reading = readings.at_end(line.tracks.in, product_.timing.settle_window);
    const double level = spec_.levels.back().value();
    findings.push_back(rig::of_the_rig(
        measured({id("fault_switch/" + line.name), name(), "V"}, reading.bins ? reading.value : std::nan(""), 0.0,
                 {std::nullopt, 0.1 * level}, 0, readings.slice().record.id),
        "Fault switch '" + port.name + "' does not open"));
  }
  const auto& pull_up = bench_.wiring.speed.pull_up_switch;
  if (!pull_up || !sees_speed_levels()) return;
  const auto reading = readings.at_end(*tracks_.speed_in, product_.timing.settle_window);
  findings.push_back(
      rig::of_the_rig(measured({id("pull_up_switch"), name(), "V"}, reading.bins ? reading.high : std::nan(""), 0.0,
                               {std::nullopt, 0.1 * product_.speed.pull_up_to.value()}, 0, readings.slice().record.id),
                      "The speed line's pull-up '" + bench_.ports[index(*pull_up)].name + "' does not open"));
}

void SelfTest::judge_again(const Readings& readings, std::vector<Finding>& findings) const {
  const Volts level = spec_.levels.back();
  for (const auto& line : lines()) {
    if (!line.wiring->fault_switch) continue;
    const auto& source = bench_.ports[index(line.wiring->source)];
    findings.push_back(against(
        id("fault_switch_again/" + line.name), line.tracks.in, level.value(), limit_of_error(source, level.value()),
        readings, "Fault switch '" + bench_.ports[index(*line.wiring->fault_switch)].name + "' does not close again"));
  }
}

Judged SelfTest::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  const Readings readings{bench_, slice, scales};
  const bool level = i >= first_level_ && i < first_level_ + spec_.levels.size();
  if (loads_.is_look(i) || faults_.is_look(i)) {
    judged.reduction = loads_.is_look(i) ? loads_.look(readings) : faults_.look(readings);
    return judged;
  }
  if (!level && i != switches_ && i != again_) return judged;
  if (auto trouble = readings.trouble(); !trouble.empty()) {
    judged.findings.push_back(
        not_measured({id(fmt::format("recording#{}", i)), name(), "V"}, trouble, slice.record.id));
    return judged;
  }
  if (i == switches_) {
    judge_switches(readings, judged.findings);
  } else if (i == again_) {
    judge_again(readings, judged.findings);
  } else {
    judge_levels(readings, spec_.levels[i - first_level_], judged.findings);
    if (i == first_level_ + spec_.levels.size() - 1) {
      if (i > first_level_)
        for (auto& finding : judge_timing(name(), bench_lines_, spec_.levels[i - first_level_ - 1],
                                          spec_.levels[i - first_level_], readings, product_.timing.settle_window))
          judged.findings.push_back(std::move(finding));
      judge_supplies(readings, judged.findings);
      judge_speed(readings, judged.findings);
      if (bench_.wiring.loop_back)
        for (auto& finding : judge_edge_skew(name(), tracks_, product_.speed.wheel, spec_.speed, readings))
          judged.findings.push_back(std::move(finding));
      if (sees_speed_levels()) judge_speed_levels(readings, judged.findings);
    }
  }
  return judged;
}

std::vector<std::string> SelfTest::characteristics() const {
  std::vector<std::string> ids;
  for (const auto level : spec_.levels) {
    for (const auto& line : lines()) {
      ids.push_back(level_id("in", line.name, level));
      if (bench_.wiring.loop_back) ids.push_back(level_id("out", line.name, level));
    }
  }
  ids.insert(ids.end(), {id("battery"), id("battery_current"), id("speed"), id("edges_lost")});
  for (const auto& rail : product_.rails) ids.push_back(id(rail.name));
  if (tracks_.check_standard) ids.push_back(id("check_standard"));
  if (tracks_.ground) ids.push_back(id("ground"));
  if (sees_speed_levels())
    for (const char* level : {"speed_in/low", "speed_in/high", "speed_out/low", "speed_out/high"})
      ids.push_back(id(level));
  if (spec_.levels.size() > 1)
    for (auto& one : timing_ids(name(), bench_, bench_lines_)) ids.push_back(std::move(one));
  if (bench_.wiring.loop_back)
    for (auto& one : loads_.ids(name())) ids.push_back(std::move(one));
  for (const auto& line : lines())
    if (line.wiring->fault_switch)
      ids.insert(ids.end(), {id("fault_switch/" + line.name), id("fault_switch_again/" + line.name)});
  if (bench_.wiring.speed.pull_up_switch && sees_speed_levels()) ids.push_back(id("pull_up_switch"));
  if (bench_.wiring.loop_back) {
    for (auto& one : edge_skew_ids(name())) ids.push_back(std::move(one));
    for (auto& one : faults_.ids(name())) ids.push_back(std::move(one));
  }
  return ids;
}

}  // namespace

std::unique_ptr<CompiledStep> ask_self_test(const SelfTestSpec& spec, SelfTestPlace place, Script& script) {
  return std::make_unique<SelfTest>(spec, place, script);
}

}  // namespace rig
