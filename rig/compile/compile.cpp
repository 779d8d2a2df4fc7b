#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/ceiling_watch.hpp"
#include "rig/compile/claims.hpp"
#include "rig/compile/connection_watch.hpp"
#include "rig/compile/contacts_step.hpp"
#include "rig/compile/fault_plan.hpp"
#include "rig/compile/fault_step.hpp"
#include "rig/compile/hold_step.hpp"
#include "rig/compile/identify_step.hpp"
#include "rig/compile/loading_step.hpp"
#include "rig/compile/pass_through_step.hpp"
#include "rig/compile/plan.hpp"
#include "rig/compile/power_up_step.hpp"
#include "rig/compile/program_step.hpp"
#include "rig/compile/replay_step.hpp"
#include "rig/compile/script.hpp"
#include "rig/compile/self_test_step.hpp"
#include "rig/compile/speed_line_step.hpp"
#include "rig/compile/step_response_step.hpp"
#include "rig/compile/supply_step.hpp"
#include "rig/compile/sweep_step.hpp"
#include "rig/compile/warm_up_step.hpp"

namespace rig {
namespace {

constexpr Nanoseconds kFinePeriod{100'000};  ///< between samples around an event
constexpr Nanoseconds kBin{1'000'000};       ///< every module output is watched in 1 ms bins from arm to safe

class Compiler {
 public:
  Compiler(const Scenario& scenario, const BenchSetup& bench, const Capabilities& capabilities, const RunFacts& facts)
      : scenario_{scenario},
        product_{*scenario.product},
        bench_{bench},
        capabilities_{capabilities},
        plan_{std::make_shared<Plan>()} {
    plan_->scenario = scenario;
    plan_->bench = bench;
    plan_->facts = facts;
    plan_->bench.calibration.resize(bench.ports.size());
  }

  Compiled compile() {
    check_wiring();
    if (complaints_.empty()) lay_tracks();
    if (complaints_.empty()) check_link();
    if (complaints_.empty()) check_ranges();
    if (complaints_.empty()) complaints_ = check_claims(scenario_, bench_, capabilities_);
    if (!complaints_.empty()) return {nullptr, std::move(complaints_)};
    set_limits();
    write_steps();
    return {std::move(plan_), {}};
  }

 private:
  void complain(std::string what, std::string remedy) {
    complaints_.push_back({fmt::format("scenario '{}' on bench '{}'", scenario_.name, bench_.name), 0, 0,
                           std::move(what), std::move(remedy)});
  }
  const Port& port(PortId id) const { return capabilities_.ports[index(id)]; }

  void check_wiring() {
    auto need_line = [&](const std::string& channel) {
      if (!bench_.wiring.line(channel))
        complain(fmt::format("the product's channel '{}' is wired to no port", channel),
                 "Add it under 'wiring:' in the bench file");
    };
    for (const auto& channel : product_.pressures) need_line(channel.name);
    if (product_.temperature) need_line(product_.temperature->name);
    for (const auto& rail : product_.rails)
      if (!bench_.wiring.rail(rail.name))
        complain(fmt::format("the product's rail '{}' is wired to no port", rail.name),
                 "Add it under 'wiring:' in the bench file");
    const auto needed = {SetPointKind::step, SetPointKind::open, SetPointKind::grounded, SetPointKind::speed_piece};
    for (const auto kind : needed)
      if (!(capabilities_.set_points & bit(kind)))
        complain(fmt::format("the bench cannot play set-points of kind {}", static_cast<int>(kind)),
                 "Use a bench that can, or take the step out");
  }

  TrackId track(PortId id, CaptureKind kind) {
    const auto& p = port(id);
    const bool can = (p.captures & bit(kind)) && (kind != CaptureKind::envelope || p.shortest_period <= kBin);
    const char* what = kind == CaptureKind::edges ? "edges" : kind == CaptureKind::bytes ? "bytes" : "a 1 ms envelope";
    if (!can)
      complain(fmt::format("port '{}' cannot capture {}", p.name, what),
               "Wire another port here, or correct its 'captures' in the bench file");
    plan_->capture.tracks.push_back({id, kind, kBin, true, {}});
    return TrackId{static_cast<std::uint16_t>(plan_->capture.tracks.size() - 1)};
  }

  void lay_tracks() {
    auto& tracks = plan_->tracks;
    auto line = [&](const std::string& channel) {
      const auto* wiring = bench_.wiring.line(channel);
      const auto in = track(wiring->sense_in, CaptureKind::envelope);
      return TrackMap::Line{in, track(wiring->sense_out, CaptureKind::envelope)};
    };
    for (const auto& channel : product_.pressures) tracks.pressures.push_back(line(channel.name));
    if (product_.temperature) tracks.temperature = line(product_.temperature->name);
    for (const auto& rail : product_.rails) {
      const auto* wiring = bench_.wiring.rail(rail.name);
      const auto controller = track(wiring->sense_controller, CaptureKind::envelope);
      tracks.rails.push_back({controller, track(wiring->sense_sensor, CaptureKind::envelope)});
    }
    tracks.battery = track(bench_.wiring.battery_sense, CaptureKind::envelope);
    tracks.current = track(bench_.wiring.battery_current, CaptureKind::envelope);
    tracks.edges_in = track(bench_.wiring.speed.edges_in, CaptureKind::edges);
    tracks.edges_out = track(bench_.wiring.speed.edges_out, CaptureKind::edges);
    const auto may = [&](const std::optional<PortId>& id, std::optional<TrackId>& into) {
      if (id) into = track(*id, CaptureKind::envelope);
    };
    may(bench_.wiring.check_standard, tracks.check_standard);
    may(bench_.wiring.speed.sense_in, tracks.speed_in);
    may(bench_.wiring.speed.sense_out, tracks.speed_out);
    may(bench_.wiring.ground.sense, tracks.ground);
    may(bench_.wiring.ambient, tracks.ambient);
    may(bench_.wiring.fixture, tracks.fixture);
    const bool asked = std::any_of(scenario_.steps.begin(), scenario_.steps.end(),
                                   [](const auto& step) { return std::holds_alternative<IdentifySpec>(step); });
    if (asked && bench_.wiring.service && product_.service) {
      tracks.service = track(*bench_.wiring.service, CaptureKind::bytes);
      plan_->capture.tracks.back().throughout = false;
    }
    if (times_reactions()) lay_fine_tracks();
  }

  /// Some steps time what the outputs do: those look closer than a bin.
  bool times_reactions() const {
    return std::any_of(scenario_.steps.begin(), scenario_.steps.end(), [](const StepSpec& step) {
      return std::holds_alternative<FaultSpec>(step) || std::holds_alternative<StepResponseSpec>(step);
    });
  }

  TrackId fine_track(PortId id) {
    const auto& p = port(id);
    if (!(p.captures & bit(CaptureKind::samples)) || p.shortest_period > kFinePeriod)
      complain(fmt::format("port '{}' cannot capture a sample every {} us", p.name, kFinePeriod.count() / 1000),
               "Wire another port here, or take the steps out that time reactions");
    plan_->capture.tracks.push_back({id, CaptureKind::samples, kFinePeriod, false, {}});
    return TrackId{static_cast<std::uint16_t>(plan_->capture.tracks.size() - 1)};
  }

  void lay_fine_tracks() {
    for (const auto& channel : product_.pressures) {
      const auto* wiring = bench_.wiring.line(channel.name);
      const auto in = fine_track(wiring->sense_in);
      plan_->tracks.fine.push_back({in, fine_track(wiring->sense_out)});
    }
  }

  Rpm fastest() const {
    Rpm fastest{0};
    for (const auto& step : scenario_.steps) {
      if (const auto* sweep = std::get_if<SweepSpec>(&step))
        for (const auto speed : sweep->speeds) fastest = std::max(fastest, speed);
      if (const auto* start = std::get_if<PowerUpSpec>(&step))
        fastest = std::max({fastest, start->speed, start->also_at ? start->also_at->speed : Rpm{0}});
      if (const auto* supply = std::get_if<SupplySpec>(&step)) fastest = std::max(fastest, supply->speed);
      if (const auto* faults = std::get_if<FaultSpec>(&step))
        fastest = std::max(fastest, fastest_of(*faults, product_));
      if (const auto* line = std::get_if<SpeedLineSpec>(&step)) {
        for (const auto speed : line->speeds) fastest = std::max(fastest, speed);
        fastest = std::max(fastest, line->seen_at);
      }
      if (const auto* answer = std::get_if<StepResponseSpec>(&step))
        for (const auto speed : answer->speeds) fastest = std::max(fastest, speed);
      if (const auto* hold = std::get_if<HoldSpec>(&step))
        for (const auto& point : hold->points) fastest = std::max(fastest, point.speed);
      if (const auto* replay = std::get_if<ReplaySpec>(&step))
        for (const auto& row : replay->drive.points) fastest = std::max(fastest, row.speed);
    }
    return fastest;
  }

  /// All streams together against what the link can carry.
  void check_link() {
    if (capabilities_.link_bytes_per_second <= 0) return;
    // With the heads of blocks that wait 5 ms at most, and of their frames; as measured on the emulated board.
    constexpr double kBytesPerBin = 10, kBytesPerSample = 2.4, kBytesPerEdge = 3, kEdgeBlocks = 2500;
    const double edges = 2.0 * product_.speed.wheel.falling_edges() * fastest().value() / 120.0;
    double need = 0;
    for (const auto& t : plan_->capture.tracks) {
      const bool single = t.kind == CaptureKind::samples || t.kind == CaptureKind::triggered;
      const double bytes = t.kind == CaptureKind::envelope ? kBytesPerBin : single ? kBytesPerSample : 1;
      need += t.kind == CaptureKind::edges ? edges * kBytesPerEdge + kEdgeBlocks : bytes / seconds(t.period);
    }
    if (need > capabilities_.link_bytes_per_second)
      complain(
          fmt::format("the recording needs {:.0f} kB/s at {:g} rpm, the link carries {:.0f} kB/s: {:.0f} kB/s too much",
                      need / 1e3, fastest().value(), capabilities_.link_bytes_per_second / 1e3,
                      (need - capabilities_.link_bytes_per_second) / 1e3),
          "Raise the board's 'baud', or sweep to a lower speed");
  }

  void need_range(const Port& p, double value, const char* unit, const std::string& why) {
    if (value < p.low || value > p.high)
      complain(fmt::format("port '{}' reaches {:g} to {:g} {}, {} needs {:.3f} {}", p.name, p.low, p.high, unit, why,
                           value, unit),
               "Wire a port with a wider range here, or narrow the scenario");
  }

  void check_ranges() {
    need_range(port(bench_.wiring.battery), product_.battery.nominal.value(), "V", "the battery");
    need_range(port(bench_.wiring.battery_sense), product_.battery.nominal.value(), "V", "the battery");
    need_range(port(bench_.wiring.battery_current), product_.battery.highest_inrush.value(), "A", "the inrush current");
    for (const auto& rail : product_.rails)
      need_range(port(bench_.wiring.rail(rail.name)->source), rail.nominal.value(), "V", rail.name);
    need_range(port(bench_.wiring.speed.source), fastest().value(), "rpm", "the fastest speed");
    for (const auto& channel : product_.pressures) {
      const auto* line = bench_.wiring.line(channel.name);
      for (const auto p : {line->source, line->sense_in, line->sense_out}) {
        need_range(port(p), channel.curve.volts(channel.highest_input, channel.curve.nominal_rail()).value(), "V",
                   channel.name);
        need_range(port(p), 0, "V", channel.name);
        need_range(port(p), product_.rails[channel.rail].nominal.value(), "V", channel.name + " at its rail");
      }
    }
  }

  void set_limits() {
    auto limit = [&](PortId id, double low, double high) {
      const auto& p = port(id);
      plan_->limits.push_back({id, std::max(low, p.low), std::min(high, p.high), p.current_limit, p.slew_per_second});
    };
    const auto& wiring = bench_.wiring;
    limit(wiring.battery, 0, product_.battery.highest.value());
    for (const auto& rail : product_.rails) limit(wiring.rail(rail.name)->source, 0, rail.highest.value());
    auto line = [&](const std::string& channel, double high) { limit(wiring.line(channel)->source, 0, high); };
    for (const auto& channel : product_.pressures) line(channel.name, product_.rails[channel.rail].highest.value());
    if (product_.temperature)
      line(product_.temperature->name, product_.rails[product_.temperature->rail].highest.value());
    limit(wiring.speed.source, 0, product_.speed.highest.value());
    auto relay = [&](std::optional<PortId> id) {
      if (id) plan_->limits.push_back({*id, 0, 1, {}, 0});
    };
    for (const auto& l : wiring.lines) {
      relay(l.fault_switch);
      if (l.load) relay(l.load->relay);
      if (l.second_load) relay(l.second_load->relay);
    }
    relay(wiring.bypass_request);
    relay(wiring.isolator);
    relay(wiring.loop_back);
    relay(wiring.speed.pull_up_switch);
    if (wiring.speed.slow_edges) relay(wiring.speed.slow_edges->relay);
    if (wiring.speed.noise) relay(wiring.speed.noise->relay);
    relay(wiring.ground.break_relay);
    for (const auto& wire : wiring.faults.wires) {
      relay(wire.break_relay), relay(wire.to_bus);
      if (wire.worn) relay(wire.worn->relay);
    }
    const auto& bus = wiring.faults;
    for (const auto* tie : {&bus.ground, &bus.reference, &bus.battery, &bus.bias_up, &bus.bias_down})
      if (*tie) relay((*tie)->relay);
    for (const auto& rail : wiring.rails)
      if (rail.sensor_load) relay(rail.sensor_load->relay);
    if (wiring.speed.foot) limit(*wiring.speed.foot, 0, product_.speed.pull_up_to.value());
    if (wiring.speed.pull_up_supply) limit(*wiring.speed.pull_up_supply, 0, product_.speed.pull_up_to.value());
  }

  void write_steps() {
    Script script{product_, plan_->bench, plan_->tracks, capabilities_.grid, capabilities_.tick_rate};
    auto& steps = plan_->steps;
    std::optional<SelfTestSpec> self_test;
    for (const auto& spec : scenario_.steps) {
      if (const auto* s = std::get_if<SelfTestSpec>(&spec)) {
        steps.push_back(ask_self_test(*s, SelfTestPlace::opening, script));
        self_test = *s;
      } else if (const auto* p = std::get_if<PowerUpSpec>(&spec)) {
        steps.push_back(ask_power_up(*p, script));
      } else if (const auto* t = std::get_if<PassThroughSpec>(&spec)) {
        steps.push_back(ask_pass_through(*t, script));
      } else if (const auto* w = std::get_if<SweepSpec>(&spec)) {
        steps.push_back(ask_sweep(*w, script));
      } else if (const auto* c = std::get_if<ContactsSpec>(&spec)) {
        steps.push_back(ask_contacts(*c, plan_->facts, script));
      } else if (const auto* o = std::get_if<LoadingSpec>(&spec)) {
        steps.push_back(ask_loading(*o, script));
      } else if (const auto* u = std::get_if<WarmUpSpec>(&spec)) {
        steps.push_back(ask_warm_up(*u, script));
      } else if (const auto* l = std::get_if<SpeedLineSpec>(&spec)) {
        steps.push_back(ask_speed_line(*l, plan_->facts, script));
      } else if (const auto* i = std::get_if<IdentifySpec>(&spec)) {
        steps.push_back(ask_identify(*i, plan_->facts, script));
      } else if (const auto* e = std::get_if<ProgramSpec>(&spec)) {
        steps.push_back(ask_program(*e, plan_->facts, script));
      } else if (const auto* f = std::get_if<FaultSpec>(&spec)) {
        steps.push_back(ask_fault(*f, script));
      } else if (const auto* r = std::get_if<StepResponseSpec>(&spec)) {
        steps.push_back(ask_step_response(*r, script));
      } else if (const auto* h = std::get_if<HoldSpec>(&spec)) {
        steps.push_back(ask_hold(*h, script));
      } else if (const auto* d = std::get_if<ReplaySpec>(&spec)) {
        steps.push_back(ask_replay(*d, script));
      } else if (const auto* v = std::get_if<SupplySpec>(&spec)) {
        steps.push_back(ask_supply(*v, script));
      }
    }
    if (self_test) steps.push_back(ask_self_test(*self_test, SelfTestPlace::closing, script));
    std::vector<Disturbed> disturbed;
    for (const auto& step : steps)
      for (const auto& one : step->disturbed()) disturbed.push_back(one);
    plan_->watches.push_back(watch_ceiling(product_, plan_->bench, plan_->tracks, std::move(disturbed)));
    if (!product_.straight_through && powers_the_unit())
      plan_->watches.push_back(watch_connection(plan_->bench, plan_->tracks));
    watch_what_is_in_it();
    plan_->bound = script.bound();
    for (const auto& step : steps) {
      plan_->segment_count += step->segments().size();
      for (const auto& segment : step->segments()) plan_->longest += rig::longest(segment);
    }
  }

  /// The bench by itself, and how a unit sits, are tested without any current through the unit.
  bool powers_the_unit() const {
    return std::any_of(scenario_.steps.begin(), scenario_.steps.end(), [](const StepSpec& spec) {
      return !std::holds_alternative<SelfTestSpec>(spec) && !std::holds_alternative<WarmUpSpec>(spec) &&
             !std::holds_alternative<ContactsSpec>(spec);
    });
  }

  /// Answers that are asked for more than once must stay the same.
  void watch_what_is_in_it() {
    std::vector<AskedWhere> asked;
    std::size_t steps = 0;
    for (const auto& step : plan_->steps) {
      const auto here = asked_where(*step);
      steps += here.empty() ? 0 : 1;
      asked.insert(asked.end(), here.begin(), here.end());
    }
    if (steps > 1) plan_->watches.push_back(watch_identity(product_, plan_->tracks, std::move(asked)));
  }

  const Scenario& scenario_;
  const Product& product_;
  const BenchSetup& bench_;
  const Capabilities& capabilities_;
  std::shared_ptr<Plan> plan_;
  Complaints complaints_;
};

}  // namespace

std::optional<double> Baseline::find(std::string_view characteristic) const {
  for (const auto& [id, value] : values)
    if (id == characteristic) return value;
  return std::nullopt;
}

Compiled compile(const Scenario& scenario, const BenchSetup& bench, const Capabilities& capabilities,
                 const RunFacts& facts) {
  return Compiler{scenario, bench, capabilities, facts}.compile();
}

}  // namespace rig
