#include "rig/compile/loading_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/judgement.hpp"
#include "rig/compile/loading_plan.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

constexpr Celsius kAmbient{25};
constexpr double kRectangle = 1.1547005383792515;  ///< 2/sqrt(3): from a limit of error to k = 2 (JCGM 100:2008, 4.3.7)

class Loading final : public CompiledStep {
 public:
  Loading(const LoadingSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        lines_{bench_lines(product_, bench_, tracks_)},
        looking_{voltage_tracks(tracks_), kLoadingLook},
        plan_{write_loading(spec_, lines_, script, segments_)} {}
  std::string_view kind() const override { return "loading"; }
  int judge_version() const override { return 1; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction> reductions) const override;
  std::vector<std::string> characteristics() const override;

 private:
  using Reductions = std::span<const Reduction>;
  /// Hands out one finding after the other, or, without reductions, only their names.
  struct Collector;
  void collect(Collector& into) const;
  void collect_inputs(const LoadingState& state, Collector& into) const;
  void collect_outputs(Collector& into) const;
  void collect_rails(Collector& into) const;

  Finding judge_input(Named what, const LoadingState& state, std::size_t pressure, std::size_t line,
                      Reductions r) const;
  Finding judge_speed(Named what, const LoadingState& state, Reductions r) const;
  Finding judge_rail_input(Named what, const LoadingState& state, std::size_t rail, Reductions r) const;
  Finding judge_output(Named what, std::size_t line, Reductions r) const;
  Finding judge_bypass(Named what, std::size_t line, Reductions r) const;
  Finding judge_reach(Named what, std::size_t channel, bool high, Reductions r) const;
  Finding judge_rail_drop(Named what, std::size_t rail, Reductions r) const;
  Finding judge_ground(Named what, Reductions r) const;
  Finding judge_cross(Named what, std::size_t rail, Reductions r) const;

  Named named(std::string_view what, const char* in) const { return {fmt::format("{}/{}", name(), what), name(), in}; }
  Look at(Reductions r, std::size_t segment, TrackId track) const { return looking_.at(r[segment], track); }
  /// Extra amperes into the heavier load, and the doubt that its resistances leave.
  Doubted extra_current(std::size_t line, std::size_t light, std::size_t heavy, Reductions r) const;
  bool drives(std::size_t line) const {
    return !lines_[line].temperature || product_.temperature->routing == TemperatureRouting::redriven;
  }
  bool loaded(std::size_t line) const {
    const bool second = has_second_load(lines_[line]);
    return known_load(product_, bench_, line, true, second).siemens() >
           known_load(product_, bench_, line, second, false).siemens();
  }
  bool output_settled(const LookAt& look, std::size_t line, Reductions r) const {
    const auto& numbers = r[look.settle].numbers;
    return line >= numbers.size() || numbers[line] > 0;
  }
  Kilopascals pressure_of(std::size_t line, Kilopascals asked) const {
    const auto& channel = product_.pressures[line];
    return std::clamp(asked, channel.lowest_input, channel.highest_input);
  }

  LoadingSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> lines_;
  Looking looking_;
  LoadingPlan plan_;
};

struct Loading::Collector {
  std::optional<Reductions> reductions;
  std::vector<std::string> ids;
  std::vector<Finding> findings;
  /// `needs` are the segments it is judged from: one that is void voids it.
  template <class Judge>
  void add(Named what, std::initializer_list<std::size_t> needs, Judge&& judge) {
    ids.push_back(what.id);
    if (!reductions) return;
    for (const auto segment : needs) {
      if (const auto& why = (*reductions)[segment].voided; !why.empty()) {
        findings.push_back(not_measured(std::move(what), why, (*reductions)[segment].segment));
        return;
      }
    }
    findings.push_back(judge(std::move(what), *reductions));
  }
};

/// Settling segments keep whether each output settled; the speed line's look keeps its high level on both sides.
Judged Loading::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  const Readings readings{bench_, slice, scales};
  if (const auto* until = std::get_if<Until>(&segments_[i].end)) {
    judged.reduction = {slice.record.id, readings.trouble(), {}};
    if (judged.reduction.voided.empty()) judged.reduction.voided = unsettled_input(bench_, segments_[i], slice, scales);
    for (std::size_t c = 0; c < until->conditions.size(); ++c)
      if (until->conditions[c].module_output)
        judged.reduction.numbers.push_back(c < slice.record.settled.size() && slice.record.settled[c] ? 1.0 : 0.0);
    return judged;
  }
  judged.reduction = looking_.look(readings);
  const bool turning = std::any_of(plan_.states.begin(), plan_.states.end(),
                                   [&](const LoadingState& state) { return state.speed == i; });
  if (!turning || !judged.reduction.voided.empty()) return judged;
  const auto levels =
      levels_of(readings, *tracks_.speed_out, *tracks_.speed_out, cycle_at(slow_turning(product_.speed.wheel)));
  judged.reduction.numbers.insert(judged.reduction.numbers.end(), {levels.high.value, levels.high.repeat});
  return judged;
}

/// How far the unit pulls a line away from its source: in kPa, or, of a temperature, what as much current makes of a
/// real sensor behind the controller's pull-up, in K.
Finding Loading::judge_input(Named what, const LoadingState& state, std::size_t pressure, std::size_t line,
                             Reductions r) const {
  const auto& l = lines_[line];
  const auto look = state.inputs[pressure].look;
  const auto by_itself = at(r, plan_.isolated[pressure].look, l.tracks.in);
  auto moved = change(by_itself, at(r, look, l.tracks.in));
  const double volts = by_itself.value, nominal = product_.rails[l.rail].nominal.value();
  if (state.state != SupplyState::powered || !drives(line)) {
    // Through the unit the sense on the other side hangs on the source too; that is the bench's doing.
    const double sense = bench_.ports[index(l.wiring->sense_out)].resistance.value();
    if (sense > 0) moved.value += volts * l.source.value() / sense;
  }
  const double least = product_.wires.least_input.value();
  double down = volts * l.source.value() / least, up = std::max(0.0, nominal - volts) * l.source.value() / least;
  double per_volt = 0;
  if (!l.temperature) {
    const auto& channel = product_.pressures[line];
    per_volt = channel.curve.kilopascals_per_volt(pressure_of(line, spec_.pressures[pressure]), Volts{nominal});
  } else {
    const auto& curve = product_.temperature->curve;
    const double sensor = curve.resistance(kAmbient).value(), pull_up = curve.pull_up.value();
    // Through the bench's source flows what would flow through the sensor and its pull-up side by side.
    per_volt =
        sensor * pull_up / (sensor + pull_up) / l.source.value() * curve.kelvins_per_volt(kAmbient, Volts{nominal});
    std::swap(down, up), moved.value = -moved.value;  // a lower voltage is a higher temperature
  }
  auto finding = measured(std::move(what), moved.value * per_volt, 0.0, {-down * per_volt, up * per_volt},
                          moved.doubt * per_volt, r[look].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} is pulled {:+.3f} {} away from its sensor, {}: as by less than {:.0f} kohm",
                                 l.name, finding.value, finding.in, to_text(state.state), least / 1e3);
  return finding;
}

Finding Loading::judge_speed(Named what, const LoadingState& state, Reductions r) const {
  const auto& turning = r[*state.speed];
  const double high = turning.numbers[looking_.numbers()], doubt = turning.numbers[looking_.numbers() + 1];
  if (std::isnan(high))
    return not_measured(std::move(what), "no pulses were seen on the speed line: check the pulse source and its senses",
                        turning.segment);
  const auto by_itself = at(r, plan_.isolated.front().look, *tracks_.speed_out);
  const auto& wiring = bench_.wiring.speed;
  const double pull_up = product_.speed.pull_up.value();
  double moved = high - by_itself.value;
  for (const auto port : {*wiring.sense_in, wiring.edges_in}) {  // the bench's own, on the other side of the unit
    const double ohms = bench_.ports[index(port)].resistance.value();
    if (ohms > 0) moved += by_itself.value * pull_up / ohms;
  }
  const double most = by_itself.value * pull_up / product_.wires.least_input.value();
  auto finding =
      measured(std::move(what), moved, 0.0, {-most, most}, std::hypot(doubt, by_itself.repeat), turning.segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("the speed line's high level moves by {:+.3f} V, {}", moved, to_text(state.state));
  return finding;
}

/// With the rails on, how far the module pulls them; with them off, what it puts onto them.
Finding Loading::judge_rail_input(Named what, const LoadingState& state, std::size_t rail, Reductions r) const {
  const auto& name_of = product_.rails[rail].name;
  const auto tracks = tracks_.rails[rail];
  if (!state.open_rails) {
    const auto look = state.inputs.back().look;
    const auto moved = change(at(r, plan_.isolated.back().look, tracks.controller), at(r, look, tracks.controller));
    const double most = product_.wires.most_rail_drop.value();
    return measured(std::move(what), moved.value, 0.0, {-most, most}, moved.doubt, r[look].segment);
  }
  const auto controller = at(r, *state.open_rails, tracks.controller), sensor = at(r, *state.open_rails, tracks.sensor);
  const auto& worst = controller.value > sensor.value ? controller : sensor;
  auto finding = measured(std::move(what), worst.value, {}, {std::nullopt, product_.wires.most_cross_feed.value()},
                          worst.full, r[*state.open_rails].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason =
        fmt::format("the module puts {:.3f} V onto {}, which is off, {}", worst.value, name_of, to_text(state.state));
  return finding;
}

Doubted Loading::extra_current(std::size_t line, std::size_t light, std::size_t heavy, Reductions r) const {
  const auto& l = lines_[line];
  const bool second = has_second_load(l);
  const auto less = known_load(product_, bench_, line, second, false);
  const auto more = known_load(product_, bench_, line, true, second);
  const auto rail = tracks_.rails[l.rail].controller;
  const auto out_less = at(r, light, l.tracks.out), out_more = at(r, heavy, l.tracks.out);
  const double amperes =
      more.current(out_more.value, at(r, heavy, rail).value) - less.current(out_less.value, at(r, light, rail).value);
  const double extra = more.siemens() - less.siemens();
  return {amperes, kRectangle * more.error * std::abs(amperes) + extra * out_more.full};
}

Finding Loading::judge_output(Named what, std::size_t line, Reductions r) const {
  const auto& l = lines_[line];
  const auto current = extra_current(line, plan_.light.look, plan_.heavy.look, r);
  const auto moved = change(at(r, plan_.light.look, l.tracks.out), at(r, plan_.heavy.look, l.tracks.out));
  const double ohms = -moved.value / current.value;
  // Two settled readings of an output that did not change may lie a settle span apart.
  const double volts = std::hypot(moved.doubt, kRectangle * product_.timing.settle_span.value());
  const double doubt = std::hypot(volts / current.value, ohms * current.doubt / current.value);
  auto finding = measured(std::move(what), ohms, {}, {std::nullopt, product_.wires.most_output.value()},
                          std::abs(doubt), r[plan_.heavy.look].segment);
  if (!output_settled(plan_.light, line, r) || !output_settled(plan_.heavy, line, r))
    return failed(std::move(finding), l.name + " did not settle though its input had");
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} drives a controller through {:.0f} ohm, allowed {:g} ohm", l.name, ohms,
                                 product_.wires.most_output.value());
  return finding;
}

Finding Loading::judge_bypass(Named what, std::size_t line, Reductions r) const {
  const auto& l = lines_[line];
  const auto light = plan_.bypass_light.look, heavy = plan_.bypass_heavy.look;
  const auto current = extra_current(line, light, heavy, r);
  const auto in = at(r, heavy, l.tracks.in), out = at(r, heavy, l.tracks.out);
  auto drop = change_between(at(r, light, l.tracks.in), at(r, light, l.tracks.out), in, out);
  double amperes = std::abs(current.value), doubt = current.doubt;
  if (in.value - out.value > 0.1 * in.value) {  // a large drop, perhaps an open: against all of the current
    drop = {out.value - in.value, std::hypot(in.full, out.full)};
    const auto load = known_load(product_, bench_, line, true, has_second_load(l));
    amperes = std::max(std::abs(load.current(out.value, at(r, heavy, tracks_.rails[l.rail].controller).value)),
                       load.siemens() * out.full);
    doubt = kRectangle * load.error * amperes;
  }
  const double ohms = -drop.value / amperes;
  auto finding = measured(std::move(what), ohms, {}, {std::nullopt, product_.wires.most_through.value()},
                          std::hypot(drop.doubt / amperes, ohms * doubt / amperes), r[heavy].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} passes the unpowered module through {:.0f} ohm, allowed {:g} ohm", l.name, ohms,
                                 product_.wires.most_through.value());
  return finding;
}

Finding Loading::judge_reach(Named what, std::size_t channel, bool high, Reductions r) const {
  const auto& look = high ? plan_.high : plan_.low;
  const auto& l = lines_[channel];
  const auto out = at(r, look.look, l.tracks.out);
  const auto rail = at(r, look.look, tracks_.rails[l.rail].controller);
  const double away = high ? rail.value - out.value : out.value;
  auto finding = measured(std::move(what), away, {}, {std::nullopt, spec_.rail_distance.value()},
                          high ? std::hypot(out.full, rail.full) : out.full, r[look.look].segment);
  if (!output_settled(look, channel, r))
    return failed(std::move(finding), l.name + " did not settle though its input had");
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} comes only to {:.3f} V from {} into the heaviest load: it hides a sensor's fault",
                                 l.name, away, high ? "its 5 V rail" : "ground");
  return finding;
}

Finding Loading::judge_rail_drop(Named what, std::size_t rail, Reductions r) const {
  const auto controller = at(r, plan_.sensors, tracks_.rails[rail].controller);
  const auto sensor = at(r, plan_.sensors, tracks_.rails[rail].sensor);
  auto finding = measured(std::move(what), controller.value - sensor.value, {},
                          {std::nullopt, product_.wires.most_rail_drop.value()},
                          std::hypot(controller.full, sensor.full), r[plan_.sensors].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason =
        fmt::format("{} loses {:.3f} V on its way through the module", product_.rails[rail].name, finding.value);
  return finding;
}

Finding Loading::judge_ground(Named what, Reductions r) const {
  const auto moved = change(at(r, plan_.bypass_light.look, *tracks_.ground), at(r, plan_.sensors, *tracks_.ground));
  const double most = product_.wires.most_ground_shift.value();
  auto finding = measured(std::move(what), moved.value, 0.0, {-most, most}, moved.doubt, r[plan_.sensors].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("the sensors' ground lies {:.1f} mV above the controller's while the module works",
                                 moved.value * 1e3);
  return finding;
}

Finding Loading::judge_cross(Named what, std::size_t rail, Reductions r) const {
  const auto controller = at(r, plan_.cross[rail], tracks_.rails[rail].controller);
  const auto sensor = at(r, plan_.cross[rail], tracks_.rails[rail].sensor);
  const auto& worst = controller.value > sensor.value ? controller : sensor;
  auto finding = measured(std::move(what), worst.value, {}, {std::nullopt, product_.wires.most_cross_feed.value()},
                          worst.full, r[plan_.cross[rail]].segment);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} is off and yet carries {:.3f} V: the module feeds it from elsewhere",
                                 product_.rails[rail].name, worst.value);
  return finding;
}

void Loading::collect_inputs(const LoadingState& state, Collector& into) const {
  const auto word = to_text(state.state);
  for (std::size_t p = 0; p < spec_.pressures.size(); ++p) {
    const auto& isolated = plan_.isolated[p];
    const auto& look = state.inputs[p];
    for (std::size_t l = 0; l < lines_.size(); ++l) {
      if (lines_[l].temperature && p > 0) continue;
      const auto place =
          lines_[l].temperature ? std::string{} : fmt::format("@{}kPa", shortest_text(spec_.pressures[p].value()));
      into.add(named(fmt::format("{}/input/{}{}", word, lines_[l].name, place), lines_[l].temperature ? "K" : "kPa"),
               {isolated.settle, isolated.look, look.settle, look.look},
               [&, l, p](Named what, Reductions r) { return judge_input(std::move(what), state, p, l, r); });
    }
  }
  if (state.speed)
    into.add(named(fmt::format("{}/input/speed", word), "V"), {plan_.isolated.front().look, *state.speed},
             [&](Named what, Reductions r) { return judge_speed(std::move(what), state, r); });
  for (std::size_t i = 0; i < product_.rails.size(); ++i)
    into.add(named(fmt::format("{}/input/{}", word, product_.rails[i].name), "V"),
             {plan_.isolated.back().look, state.open_rails.value_or(state.inputs.back().look)},
             [&, i](Named what, Reductions r) { return judge_rail_input(std::move(what), state, i, r); });
}

void Loading::collect_outputs(Collector& into) const {
  for (std::size_t l = 0; l < lines_.size(); ++l) {
    if (!loaded(l)) continue;
    const auto& of = lines_[l].name;
    if (drives(l))
      into.add(named("output/" + of, "ohm"),
               {plan_.light.settle, plan_.light.look, plan_.heavy.settle, plan_.heavy.look},
               [&, l](Named what, Reductions r) { return judge_output(std::move(what), l, r); });
    into.add(named("bypass/" + of, "ohm"),
             {plan_.bypass_light.settle, plan_.bypass_light.look, plan_.bypass_heavy.settle, plan_.bypass_heavy.look},
             [&, l](Named what, Reductions r) { return judge_bypass(std::move(what), l, r); });
  }
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    for (const bool high : {false, true}) {
      const auto& look = high ? plan_.high : plan_.low;
      into.add(named(fmt::format("rail_reach/{}/{}", lines_[c].name, high ? "high" : "low"), "V"),
               {look.settle, look.look},
               [&, c, high](Named what, Reductions r) { return judge_reach(std::move(what), c, high, r); });
    }
  }
}

void Loading::collect_rails(Collector& into) const {
  for (std::size_t i = 0; i < product_.rails.size(); ++i) {
    into.add(named("rail_drop/" + product_.rails[i].name, "V"), {plan_.sensors},
             [&, i](Named what, Reductions r) { return judge_rail_drop(std::move(what), i, r); });
    into.add(named("cross_feed/" + product_.rails[i].name, "V"), {plan_.cross[i]},
             [&, i](Named what, Reductions r) { return judge_cross(std::move(what), i, r); });
  }
  if (tracks_.ground)
    into.add(named("ground_shift", "V"), {plan_.bypass_light.look, plan_.sensors},
             [&](Named what, Reductions r) { return judge_ground(std::move(what), r); });
}

void Loading::collect(Collector& into) const {
  for (const auto& state : plan_.states) collect_inputs(state, into);
  collect_outputs(into);
  collect_rails(into);
}

std::vector<Finding> Loading::conclude(Reductions reductions) const {
  Collector collector{reductions, {}, {}};
  collect(collector);
  return std::move(collector.findings);
}

std::vector<std::string> Loading::characteristics() const {
  Collector collector;
  collect(collector);
  return std::move(collector.ids);
}

}  // namespace

std::unique_ptr<CompiledStep> ask_loading(const LoadingSpec& spec, Script& script) {
  return std::make_unique<Loading>(spec, script);
}

}  // namespace rig
