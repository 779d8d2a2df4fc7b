#include "drivers/emulated/plan_check.hpp"

#include <algorithm>
#include <cmath>

#include "rig/core/number_text.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {
namespace {

[[noreturn]] void refuse(const std::string& where, std::string what, std::string remedy = "Correct the timeline") {
  throw rig::RigFault{where, std::move(what), std::move(remedy)};
}

bool is_source(rig::PortKind kind) {
  return kind == rig::PortKind::supply || kind == rig::PortKind::voltage_source ||
         kind == rig::PortKind::resistance_source;
}

std::string of_segment(const rig::Segment& segment) { return "segment " + std::to_string(segment.id); }

std::string in_ms(rig::Nanoseconds time) { return rig::number_text(rig::seconds(time) * 1000, 6) + " ms"; }

std::string text(double level, rig::PortKind kind) {
  const char* unit = kind == rig::PortKind::resistance_source ? " ohm"
                     : kind == rig::PortKind::pulse_source    ? " rpm"
                                                              : " V";
  return rig::number_text(level, 4) + unit;
}

}  // namespace

PlanCheck::PlanCheck(const rig::BenchSetup& setup, const rig::Capabilities& can, const SessionPlan& plan)
    : setup_{setup}, can_{can}, tracks_{plan.capture.tracks}, limits_(setup.ports.size()), levels_(setup.ports.size()) {
  const std::string where = "emulated bench " + setup.name;
  for (const rig::PortLimit& limit : plan.limits) {
    port(where, limit.port);
    limits_[index(limit.port)] = limit;
  }
  for (const rig::PortState& state : plan.starts_from) {
    if (!std::holds_alternative<rig::HighImpedance>(state.state)) {
      refuse(where,
             "the timeline starts from port '" + port(where, state.port).name +
                 "' driven, but every output of this bench is safe (high impedance)",
             "Let the timeline start from safe outputs");
    }
  }
  for (const rig::Track& track : tracks_) check_track(track);
}

const rig::Port& PlanCheck::port(const std::string& where, rig::PortId id) const {
  if (index(id) >= setup_.ports.size()) {
    refuse(where, "there is no port " + std::to_string(index(id)), "Number the ports as the bench does");
  }
  return setup_.ports[index(id)];
}

double PlanCheck::slew(rig::PortId id) const {
  const double own = setup_.ports[index(id)].slew_per_second;
  const double limit = limits_[index(id)] ? limits_[index(id)]->slew_per_second : 0;
  return own > 0 && limit > 0 ? std::min(own, limit) : std::max(own, limit);
}

void PlanCheck::check_track(const rig::Track& track) const {
  const rig::Port& p = port("capture plan", track.port);
  const std::string where = "capture of port '" + p.name + "'";
  if (track.kind == rig::CaptureKind::triggered) check_trigger(where, track);
  if (track.kind == rig::CaptureKind::bytes) {
    if (p.kind == rig::PortKind::service_port) return;
    refuse(where, "it is no service port, so no bytes come in", "Capture the service port");
  }
  const bool analogue = p.kind == rig::PortKind::voltage_sense || p.kind == rig::PortKind::current_sense ||
                        p.kind == rig::PortKind::temperature_sense;
  if (track.kind == rig::CaptureKind::edges ? p.kind != rig::PortKind::edge_sense : !analogue) {
    refuse(where, "a port of this kind does not give such readings", "Capture a sense that does");
  }
  if (track.kind == rig::CaptureKind::envelope &&
      (track.period <= rig::Nanoseconds{0} || track.period % can_.grid != rig::Nanoseconds{0})) {
    refuse(where, "a bin of " + in_ms(track.period) + " is no multiple of " + in_ms(can_.grid), "Choose one that is");
  }
  const rig::Nanoseconds fastest = std::max(p.shortest_period, rig::Nanoseconds{1'000'000'000 / can_.tick_rate});
  const bool single = track.kind == rig::CaptureKind::samples || track.kind == rig::CaptureKind::triggered;
  if (single && track.period < fastest) {
    refuse(where, "a sample every " + in_ms(track.period) + " is more than the port can do",
           "Its shortest period is " + in_ms(fastest));
  }
}

void PlanCheck::check_trigger(const std::string& where, const rig::Track& track) const {
  if (!track.trigger || track.throughout) {
    refuse(where, "a triggered track needs a trigger and windows", "Say what it waits for, and record it in windows");
  }
  const rig::Trigger& trigger = *track.trigger;
  const rig::Nanoseconds none{0};
  if (trigger.before < none || trigger.after < none || trigger.before + trigger.after == none ||
      trigger.before % can_.grid != none) {
    refuse(where, "it records nothing, or begins on no multiple of " + in_ms(can_.grid) + " before its event");
  }
  const auto* threshold = std::get_if<rig::Volts>(&trigger.threshold);
  if (threshold && !std::isfinite(threshold->value())) refuse(where, "its threshold is no level");
}

void PlanCheck::check(const rig::Segment& segment) {
  const std::string where = of_segment(segment);
  for (const rig::Window& window : segment.windows) check_window(where, window);
  if (const auto* until = std::get_if<rig::Until>(&segment.end)) {
    check_until(where, segment, *until);
  } else if (const auto length = std::get<rig::Nanoseconds>(segment.end);
             length < rig::Nanoseconds{0} || length % can_.grid != rig::Nanoseconds{0}) {
    refuse(where, "a length of " + in_ms(length) + " is no multiple of " + in_ms(can_.grid));
  }
  rig::Nanoseconds before{0};
  for (const rig::Event& event : segment.events) {
    if (event.at < before) refuse(where, "its events are not in order of time");
    if (event.at > longest(segment)) refuse(where, "an event at " + in_ms(event.at) + " comes after its end");
    before = event.at;
    check_event(segment, event);
  }
}

void PlanCheck::check_level(const std::string& where, rig::PortId id, double level) const {
  const rig::Port& p = port(where, id);
  const std::string value = "port '" + p.name + "': " + text(level, p.kind);
  if (!std::isfinite(level)) refuse(where, value + " is no level");
  const auto& limit = limits_[index(id)];
  if (!limit && is_source(p.kind)) {
    refuse(where, "port '" + p.name + "' has no limits in this run, so it may not be driven", "Give it limits");
  }
  const double slack = 1e-9 * std::max(1.0, std::abs(level));
  if (limit && (level < limit->low - slack || level > limit->high + slack)) {
    refuse(
        where,
        value + " is outside the limits of this run, " + text(limit->low, p.kind) + " to " + text(limit->high, p.kind),
        "Correct the timeline or its limits");
  }
  if (p.low < p.high && (level < p.low - slack || level > p.high + slack)) {
    refuse(where, value + " is outside its range, " + text(p.low, p.kind) + " to " + text(p.high, p.kind));
  }
}

void PlanCheck::check_event(const rig::Segment& segment, const rig::Event& event) {
  const std::string where = of_segment(segment) + ", " + in_ms(event.at);
  const auto of_kind = [&](rig::PortId id, bool fits, const char* what) {
    if (!fits) refuse(where, "port '" + port(where, id).name + "' " + what);
  };
  if (const auto* set = std::get_if<rig::SetOutput>(&event.action)) {
    const rig::PortKind kind = port(where, set->port).kind;
    of_kind(set->port, is_source(kind), "is no output that can be set");
    const bool resists = kind == rig::PortKind::resistance_source;
    double level = 0;
    if (const auto* volts = std::get_if<rig::Volts>(&set->to)) {
      of_kind(set->port, !resists, "gives resistance, not volts");
      check_level(where, set->port, level = volts->value());
    } else if (const auto* ohms = std::get_if<rig::Ohms>(&set->to)) {
      of_kind(set->port, resists, "gives volts, not resistance");
      check_level(where, set->port, ohms->value());
    }
    levels_[index(set->port)] = level;
  } else if (const auto* ramp = std::get_if<rig::RampOutput>(&event.action)) {
    const rig::PortKind kind = port(where, ramp->port).kind;
    of_kind(ramp->port, is_source(kind) && kind != rig::PortKind::resistance_source, "cannot ramp");
    if (ramp->duration <= rig::Nanoseconds{0}) refuse(where, "a ramp needs a duration");
    check_level(where, ramp->port, ramp->to.value());
    double& level = levels_[index(ramp->port)];
    const double rate = std::abs(ramp->to.value() - level) / rig::seconds(ramp->duration);
    if (slew(ramp->port) > 0 && rate > slew(ramp->port) * (1 + 1e-9)) {
      refuse(where, "port '" + port(where, ramp->port).name + "': a ramp of " + rig::number_text(rate, 3) +
                        " V/s is above the limit of " + rig::number_text(slew(ramp->port), 3) + " V/s");
    }
    level = ramp->to.value();
  } else if (const auto* relay = std::get_if<rig::SetRelay>(&event.action)) {
    of_kind(relay->port, port(where, relay->port).kind == rig::PortKind::relay, "is no relay");
  } else if (const auto* speed = std::get_if<rig::SetSpeed>(&event.action)) {
    of_kind(speed->port, port(where, speed->port).kind == rig::PortKind::pulse_source, "gives no pulses");
    if (const auto problem = rig::speed_piece_problem(speed->piece, can_.tick_rate)) refuse(where, *problem);
    const double to =
        speed->piece.millirpm +
        speed->piece.millirpm_per_second * (static_cast<double>(speed->piece.ticks.value_or(0)) / can_.tick_rate);
    check_level(where, speed->port, speed->piece.millirpm / 1000.0);
    check_level(where, speed->port, std::max(0.0, to) / 1000);
  } else if (const auto* current = std::get_if<rig::SetCurrentLimit>(&event.action)) {
    of_kind(current->port, is_source(port(where, current->port).kind), "has no current limit");
  } else {
    check_exchange(where, std::get<rig::Exchange>(event.action));
  }
}

void PlanCheck::check_exchange(const std::string& where, const rig::Exchange& exchange) const {
  const rig::Port& p = port(where, exchange.port);
  if (!setup_.wiring.service) {
    refuse(where, "this bench has no service port, so it holds no conversation with the module",
           "Leave `identify` out or use a bench that has one");
  }
  if (setup_.wiring.service != exchange.port) refuse(where, "port '" + p.name + "' is not the wired service port");
  if (exchange.out.empty()) refuse(where, "it asks nothing");
  if (exchange.terminator.empty() && exchange.length == 0) refuse(where, "it does not say when an answer is complete");
  if (exchange.time_out <= rig::Nanoseconds{0} || exchange.retries < 0 || exchange.baud == 0) {
    refuse(where, "its time-out, its retries or its speed are not positive");
  }
}

void PlanCheck::check_window(const std::string& where, const rig::Window& window) const {
  if (index(window.track) >= tracks_.size())
    refuse(where, "a window names track " + std::to_string(index(window.track)) + ", which there is not");
  if (tracks_[index(window.track)].throughout) refuse(where, "a window names a track that runs throughout");
  const bool on_grid =
      window.from >= rig::Nanoseconds{0} && window.from % can_.grid == rig::Nanoseconds{0} &&
      (!window.length || (*window.length > rig::Nanoseconds{0} && *window.length % can_.grid == rig::Nanoseconds{0}));
  const auto& trigger = tracks_[index(window.track)].trigger;
  if (trigger && window.from < trigger->before) {
    refuse(where,
           "a window arms " + in_ms(window.from) + " after its start, but is to record from " + in_ms(trigger->before) +
               " before its event",
           "Let it arm later");
  }
  if (!on_grid) refuse(where, "a window does not begin and end on multiples of " + in_ms(can_.grid));
}

void PlanCheck::check_until(const std::string& where, const rig::Segment& segment, const rig::Until& until) const {
  const rig::Nanoseconds none{0};
  if (until.time_out % can_.grid != none || until.not_before % can_.grid != none || until.not_before < none ||
      until.time_out <= none) {
    refuse(where, "its earliest end and its time-out are no multiples of " + in_ms(can_.grid));
  }
  if (until.conditions.empty()) refuse(where, "it waits for nothing");
  for (const rig::SettleCondition& condition : until.conditions) {
    if (index(condition.track) >= tracks_.size())
      refuse(where, "it waits for track " + std::to_string(index(condition.track)) + ", which there is not");
    const rig::Track& track = tracks_[index(condition.track)];
    const bool windowed = std::any_of(segment.windows.begin(), segment.windows.end(),
                                      [&](const rig::Window& w) { return w.track == condition.track; });
    if (track.kind != rig::CaptureKind::envelope || !(track.throughout || windowed)) {
      refuse(where, "it waits for a track that is no envelope, or is not recorded in it");
    }
    if (condition.window < 2 * track.period || condition.window % track.period != none ||
        condition.span <= rig::Volts{0} || condition.slowest <= none) {
      refuse(where,
             "a settle window is no whole number (two or more) of bins, or its span or time constant is not positive");
    }
  }
}

}  // namespace drivers::emulated
