#include "rig/compile/pass_through_step.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/bench_line.hpp"
#include "rig/compile/judgement.hpp"
#include "rig/compile/readings.hpp"
#include "rig/compile/sweep_points.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;
using State = PassThroughState;

constexpr Nanoseconds kDischarge = 50ms;
constexpr Rpm kShiftedSpeed{3500};  ///< where the tables shift most in this trade (common practice, no source)
constexpr Kilopascals kShiftedPressure{200}, kOtherPressure{80};

bool passive(State s) {
  return s == State::unpowered || s == State::battery_only || s == State::rails_only || s == State::bypassed;
}
bool at_rail(State s) { return s == State::sensor_low || s == State::sensor_high; }

/// What the segment's conditions say of a channel: they come in pairs, input then output (Script::settle).
struct Settling {
  bool input = true, output = true;
};
Settling settling(const Segment& segment, const SegmentRecord& record, std::size_t channel) {
  if (!std::holds_alternative<Until>(segment.end) || record.settled.size() < 2 * channel + 2) return {};
  return {record.settled[2 * channel].has_value(), record.settled[2 * channel + 1].has_value()};
}

class PassThrough final : public CompiledStep {
 public:
  PassThrough(const PassThroughSpec& spec, Script& script)
      : CompiledStep{spec.name},
        spec_{spec},
        product_{script.product()},
        bench_{script.bench()},
        tracks_{script.tracks()},
        lines_{bench_lines(product_, bench_, tracks_)} {
    for (const auto state : spec_.states) write(state, script);
  }
  std::string_view kind() const override { return "pass_through"; }
  int judge_version() const override { return 2; }
  Judged judge(std::size_t i, const Slice& slice, const Scales& scales) const override;
  std::vector<Finding> conclude(std::span<const Reduction>) const override { return {}; }
  std::vector<std::string> characteristics() const override;

 private:
  /// What a segment is for; those that only lead up to one have no pressure.
  struct Asked {
    State state;
    std::optional<Kilopascals> pressure;
  };
  void write(State state, Script& script);
  void set_up(State state, Script& script);
  void pressures(Script& script, Kilopascals to);
  void set_source(Script& script, std::size_t channel, Volts to);
  /// Of the segment just written.
  void note(State state, std::optional<Kilopascals> pressure);
  std::string id(const Asked& asked, std::size_t channel, std::string_view of = "") const;
  Finding judge_channel(const Asked& asked, std::size_t channel, const Readings& readings,
                        const Segment& segment) const;
  Finding judge_booting(Named what, std::size_t channel, const Readings& readings) const;
  Finding judge_rail(Named what, State state, std::size_t channel, const Readings& readings) const;
  Finding judge_without_ground(Named what, std::size_t channel, const Readings& readings) const;
  Finding judge_input(const Asked& asked, std::size_t channel, const Readings& readings) const;
  Finding judge_difference(Named what, State state, std::size_t channel, const Readings& readings) const;
  std::string words(State state) const;

  PassThroughSpec spec_;
  Product product_;
  BenchSetup bench_;
  TrackMap tracks_;
  std::vector<BenchLine> lines_;
  std::vector<Asked> asked_;              ///< one per segment
  std::vector<std::vector<double>> set_;  ///< V, one per segment: what each pressure's source was set to
  std::vector<double> present_;           ///< ... at present, while segments are written
};

void PassThrough::pressures(Script& script, Kilopascals to) {
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    const auto& channel = product_.pressures[c];
    set_source(script, c,
               channel.curve.volts(std::clamp(to, channel.lowest_input, channel.highest_input),
                                   product_.rails[channel.rail].nominal));
  }
}

void PassThrough::set_source(Script& script, std::size_t channel, Volts to) {
  script.source(channel, to);
  present_.resize(product_.pressures.size());
  present_[channel] = to.value();
}

void PassThrough::note(State state, std::optional<Kilopascals> pressure) {
  asked_.push_back({state, pressure});
  set_.push_back(present_);
}

/// Supplies and speed for a state, from a cold module.
void PassThrough::set_up(State state, Script& script) {
  const bool battery = state != State::unpowered && state != State::rails_only;
  const bool rails = state != State::unpowered && state != State::battery_only;
  script.sources(HighImpedance{});
  script.battery(Grounded{});
  script.rails(false);
  script.relay(bench_.wiring.bypass_request, state == State::bypassed);
  script.relay(bench_.wiring.ground.break_relay, true);
  script.speed(Rpm{0});
  script.hold(segments_, kDischarge);
  note(state, {});

  if (battery) script.battery(product_.battery.nominal);
  if (rails) script.rails(true);
  const bool shifted = state == State::bypassed || state == State::no_ground || at_rail(state);
  script.speed(shifted ? kShiftedSpeed : state == State::idle ? spec_.idle_speed : Rpm{0});
  if (product_.temperature) script.temperature(Celsius{25});
  pressures(script, shifted ? kShiftedPressure : spec_.pressures.front());
  script.hold(segments_, product_.timing.boot);
  note(state, state == State::booting ? std::optional{spec_.pressures.front()} : std::nullopt);
}

void PassThrough::write(State state, Script& script) {
  if (state == State::bypassed && (!product_.bypass_request || !bench_.wiring.bypass_request)) return;
  if (state == State::no_ground && !bench_.wiring.ground.break_relay) return;
  set_up(state, script);
  if (state == State::booting) return;
  if (at_rail(state)) {
    for (std::size_t c = 0; c < product_.pressures.size(); ++c)
      set_source(script, c, state == State::sensor_low ? Volts{0} : product_.rails[product_.pressures[c].rail].nominal);
    script.settle(segments_);
    note(state, kShiftedPressure);
    return;
  }
  if (state == State::no_ground) {
    // It works, shifts much, and loses its ground: as a wire that breaks on the road.
    script.relay(bench_.wiring.ground.break_relay, false);
    script.settle(segments_);
    note(state, kShiftedPressure);
    pressures(script, kOtherPressure);  // a voltage that floats may happen to be one pressure's, not two
    script.settle(segments_);
    note(state, kOtherPressure);
    script.sources(HighImpedance{});
    script.battery(Grounded{});
    script.rails(false);
    script.relay(bench_.wiring.ground.break_relay, true);
    script.hold(segments_, kDischarge);
    note(state, {});
    return;
  }
  for (const auto pressure : state == State::bypassed ? std::vector{kShiftedPressure} : spec_.pressures) {
    pressures(script, pressure);
    script.settle(segments_);
    note(state, pressure);
  }
  if (state == State::bypassed) {
    script.relay(bench_.wiring.bypass_request, false);
    script.hold(segments_, 10ms);
    note(state, {});
  }
}

std::string PassThrough::id(const Asked& asked, std::size_t channel, std::string_view of) const {
  const auto base = fmt::format("{}/{}/{}{}", name(), to_text(asked.state), of, product_.pressures[channel].name);
  return at_rail(asked.state) ? base : fmt::format("{}@{}kPa", base, shortest_text(asked.pressure->value()));
}

std::string PassThrough::words(State state) const {
  switch (state) {
    case State::unpowered:
      return "without power";
    case State::battery_only:
      return "with battery but without 5 V";
    case State::rails_only:
      return "with 5 V but without battery";
    case State::booting:
      return "while it starts";
    case State::zero_speed:
      return "at standstill";
    case State::idle:
      return "at idle";
    case State::bypassed:
      return "on request";
    case State::sensor_low:
      return "with the sensor at ground";
    case State::sensor_high:
      return "with the sensor at 5 V";
    case State::no_ground:
      return "without its ground";
  }
  return {};
}

/// Every bin of the start: the worst difference, whatever happens in between.
Finding PassThrough::judge_booting(Named what, std::size_t channel, const Readings& readings) const {
  const auto& track = tracks_.pressures[channel];
  double worst = std::nan("");
  for (std::size_t b = 0; b < readings.bins(track.out); ++b) {
    const auto in = readings.bin(track.in, b), out = readings.bin(track.out, b);
    // Bins in which the input itself moves (its source rising), or has just moved or is about to within what its two
    // senses may lie apart in time, say nothing of the difference.
    const auto moves = [&](std::size_t near) {
      const auto bin = readings.bin(track.in, near);
      return bin.high - bin.low > spec_.band.absolute;
    };
    if (moves(b) || (b > 0 && moves(b - 1)) || (b + 1 < readings.bins(track.in) && moves(b + 1))) continue;
    const double difference = out.mean - in.mean;
    if (std::isnan(worst) || std::abs(difference) > std::abs(worst)) worst = difference;
  }
  return measured(std::move(what), worst, 0.0, Band::around(0, spec_.band), 0, readings.slice().record.id);
}

Finding PassThrough::judge_rail(Named what, State state, std::size_t channel, const Readings& readings) const {
  const auto window = product_.timing.settle_window;
  const auto& rail = tracks_.rails[product_.pressures[channel].rail];
  const auto out = readings.at_end(tracks_.pressures[channel].out, window);
  const auto reference = readings.at_end(rail.controller, window);
  if (out.bins == 0 || reference.bins == 0)
    return not_measured(std::move(what), "no readings", readings.slice().record.id);
  if (state == State::sensor_low)
    return measured(std::move(what), out.value, 0.0, {std::nullopt, spec_.rail_distance.value()}, out.uncertainty,
                    readings.slice().record.id);
  return measured(std::move(what), out.value, reference.value,
                  {reference.value - spec_.rail_distance.value(), std::nullopt},
                  std::hypot(out.uncertainty, reference.uncertainty), readings.slice().record.id);
}

/// Out is in, or at one of the rails, which the controller takes for a fault: never something of its own in between.
Finding PassThrough::judge_without_ground(Named what, std::size_t channel, const Readings& readings) const {
  const auto window = product_.timing.settle_window;
  const auto in = readings.at_end(tracks_.pressures[channel].in, window);
  const auto out = readings.at_end(tracks_.pressures[channel].out, window);
  const auto rail = readings.at_end(tracks_.rails[product_.pressures[channel].rail].controller, window);
  const auto segment = readings.slice().record.id;
  const auto current = readings.at_end(tracks_.current, window);
  if (in.bins == 0 || out.bins == 0 || rail.bins == 0 || current.bins == 0)
    return not_measured(std::move(what), "no readings", segment);
  if (current.value > product_.battery.idle_low.value() / 2)
    return not_measured(std::move(what),
                        fmt::format("{:.0f} mA still run with the ground open: check the relay '{}'",
                                    1e3 * current.value, bench_.ports[index(*bench_.wiring.ground.break_relay)].name),
                        segment);
  const double distance = spec_.rail_distance.value();
  const double to_in = std::abs(out.value - in.value), to_rail = std::abs(rail.value - out.value);
  if (out.value < std::min(to_in, to_rail))
    return measured(std::move(what), out.value, 0.0, {std::nullopt, distance}, out.uncertainty, segment);
  if (to_rail < to_in)
    return measured(std::move(what), out.value, rail.value, {rail.value - distance, std::nullopt},
                    std::hypot(out.uncertainty, rail.uncertainty), segment);
  return measured(std::move(what), out.value, in.value, Band::around(in.value, spec_.passive_band),
                  std::hypot(in.uncertainty, out.uncertainty), segment);
}

/// How far the unit pulls the input away from its source, beyond what the controller's known load does through a
/// bypassed unit.
Finding PassThrough::judge_input(const Asked& asked, std::size_t channel, const Readings& readings) const {
  const Named what{id(asked, channel, "input/"), name(), "V"};
  const auto& record = readings.slice().record;
  const auto at = static_cast<std::size_t>(&asked - asked_.data());
  if (std::holds_alternative<Until>(segments_[at].end) && !settling(segments_[at], record, channel).input)
    return not_measured(what, "the bench's own source did not settle. Check its wire and source", record.id);
  const auto& line = lines_[channel];
  const auto& source = bench_.ports[index(line.wiring->source)];
  const auto window = product_.timing.settle_window;
  const auto in = readings.at_end(line.tracks.in, window);
  const auto rail = readings.at_end(tracks_.rails[line.rail].controller, window);
  if (in.bins == 0 || rail.bins == 0) return not_measured(what, "no readings", record.id);
  const double set = set_[at][channel];
  const auto load = known_load(product_, bench_, channel, true, false);
  const double ohms = line.source.value(), drawn = load.current(set, rail.value) * ohms / (1 + ohms * load.siemens());
  // With a contact between in and out the load hangs on the source; with the module in between it does not; while it
  // starts, without its ground, or with a sensor that it need not believe, it may be either.
  const bool through = passive(asked.state);
  const bool either = asked.state == State::booting || asked.state == State::no_ground || at_rail(asked.state);
  const double expected = set - (through ? drawn : 0);
  // The unit's share comes on top of what source and sense may be off by.
  const auto& sense = bench_.ports[index(line.wiring->sense_in)];
  const double own = limit_of_error(source, set) + limit_of_error(sense, set);
  Band band = Band::around(expected, {spec_.input_band.value() + own, 0});
  if (either) band = {*band.low - std::max(0.0, drawn), *band.high - std::min(0.0, drawn)};
  auto finding = measured(what, in.value, expected, band, in.repeatability, record.id);
  if (finding.verdict == Verdict::fail)
    finding.reason = fmt::format("{} is pulled {:+.3f} V away from its sensor {}", line.name, in.value - expected,
                                 words(asked.state));
  return finding;
}

Finding PassThrough::judge_difference(Named what, State state, std::size_t channel, const Readings& readings) const {
  const auto window = product_.timing.settle_window;
  const auto in = readings.at_end(tracks_.pressures[channel].in, window);
  const auto out = readings.at_end(tracks_.pressures[channel].out, window);
  const auto segment = readings.slice().record.id;
  if (in.bins == 0 || out.bins == 0) return not_measured(std::move(what), "no readings", segment);
  const auto band = passive(state) ? spec_.passive_band : spec_.band;
  return measured(std::move(what), out.value - in.value, 0.0, Band::around(0, band),
                  std::hypot(in.uncertainty, out.uncertainty), segment);
}

Finding PassThrough::judge_channel(const Asked& asked, std::size_t channel, const Readings& readings,
                                   const Segment& segment) const {
  Named what{id(asked, channel), name(), "V"};
  const auto& record = readings.slice().record;
  const auto& line = product_.pressures[channel].name;
  const auto settled = settling(segment, record, channel);
  if (!settled.input)
    return not_measured(std::move(what), "the bench's own source did not settle. Check its wire and source", record.id);

  const bool booting = asked.state == State::booting, rail = at_rail(asked.state);
  auto finding = booting                           ? judge_booting(std::move(what), channel, readings)
                 : asked.state == State::no_ground ? judge_without_ground(std::move(what), channel, readings)
                 : rail                            ? judge_rail(std::move(what), asked.state, channel, readings)
                                                   : judge_difference(std::move(what), asked.state, channel, readings);
  if (!settled.output && finding.verdict != Verdict::void_)
    return failed(std::move(finding), fmt::format("{} did not settle in {} ms {} though its input had", line,
                                                  (record.end - record.start).count() / 1'000'000, words(asked.state)));
  if (finding.verdict != Verdict::fail) return finding;
  if (asked.state == State::no_ground)
    finding.reason =
        fmt::format("{} stands at {:.3f} V {}, neither its input nor a rail", line, finding.value, words(asked.state));
  else if (rail)
    finding.reason =
        fmt::format("{} reads {:.3f} V {}: the module hides a sensor's fault", line, finding.value, words(asked.state));
  else
    finding.reason =
        fmt::format("{}: output differs from input by {:+.3f} V {}{}", line, finding.value, words(asked.state),
                    passive(asked.state) ? ": the bypass is not made, or has resistance" : "");
  return finding;
}

Judged PassThrough::judge(std::size_t i, const Slice& slice, const Scales& scales) const {
  Judged judged;
  judged.reduction.segment = slice.record.id;
  const auto& asked = asked_[i];
  if (!asked.pressure) return judged;
  const Readings readings{bench_, slice, scales};
  const auto trouble = readings.trouble();
  for (std::size_t c = 0; c < product_.pressures.size(); ++c) {
    judged.findings.push_back(trouble.empty() ? judge_channel(asked, c, readings, segments_[i])
                                              : not_measured({id(asked, c), name(), "V"}, trouble, slice.record.id));
    judged.findings.push_back(trouble.empty()
                                  ? judge_input(asked, c, readings)
                                  : not_measured({id(asked, c, "input/"), name(), "V"}, trouble, slice.record.id));
  }
  return judged;
}

std::vector<std::string> PassThrough::characteristics() const {
  std::vector<std::string> ids;
  for (const auto& asked : asked_)
    if (asked.pressure)
      for (std::size_t c = 0; c < product_.pressures.size(); ++c)
        ids.insert(ids.end(), {id(asked, c), id(asked, c, "input/")});
  return ids;
}

}  // namespace

std::string_view to_text(PassThroughState state) {
  switch (state) {
    case State::unpowered:
      return "unpowered";
    case State::battery_only:
      return "battery_only";
    case State::rails_only:
      return "rails_only";
    case State::booting:
      return "booting";
    case State::zero_speed:
      return "zero_speed";
    case State::idle:
      return "idle";
    case State::bypassed:
      return "bypassed";
    case State::sensor_low:
      return "sensor_low";
    case State::sensor_high:
      return "sensor_high";
    case State::no_ground:
      return "no_ground";
  }
  return "";
}

std::unique_ptr<CompiledStep> ask_pass_through(const PassThroughSpec& spec, Script& script) {
  return std::make_unique<PassThrough>(spec, script);
}

}  // namespace rig
