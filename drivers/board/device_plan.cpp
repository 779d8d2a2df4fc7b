#include "drivers/board/device_plan.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <cmath>

#include "drivers/board/device_ticks.hpp"

namespace drivers::board {
namespace {

Refusal no_such_port(std::uint16_t port) {
  return {ErrorCode::no_such_port, port, fmt::format("this board has no port {}", port)};
}

Refusal wrong_kind(const rig::Port& port, std::uint16_t number, const char* what) {
  return {ErrorCode::wrong_kind, number, fmt::format("port '{}' {}", port.name, what)};
}

}  // namespace

void DevicePlan::clear() {
  plan_ = {};
  limits_.clear();
  wheels_.clear();
  starts_from_.clear();
}

const WireLimit* DevicePlan::limit(std::uint16_t port) const {
  const auto found = limits_.find(port);
  return found == limits_.end() ? nullptr : &found->second;
}

std::optional<Refusal> DevicePlan::check(const WireLimit& limit) const {
  const rig::Port* const at = port(limit.port);
  if (!at) return no_such_port(limit.port);
  if (!is_output(at->kind) && at->kind != rig::PortKind::service_port)
    return wrong_kind(*at, limit.port, "is no output");
  if (limit.low > limit.high || !std::isfinite(limit.slew) || limit.slew < 0)
    return Refusal{ErrorCode::malformed, limit.port, fmt::format("the limits of port '{}' are no range", at->name)};
  const WireRange range = wire_range(at->low, at->high, at->kind);
  if (at->kind != rig::PortKind::relay && (limit.low < range.low || limit.high > range.high))
    return Refusal{ErrorCode::out_of_range, limit.port,
                   fmt::format("the limits of port '{}' go beyond what it can do", at->name)};
  return {};
}

std::optional<Refusal> DevicePlan::take(const Limits& message) {
  for (const WireLimit& limit : message.limits)
    if (auto refusal = check(limit)) return refusal;
  for (const WireLimit& limit : message.limits) limits_[limit.port] = limit;
  plan_.limits.clear();
  for (const auto& [number, limit] : limits_) {
    const rig::Port& at = bench_.ports[number];
    // Rounding on the wire may have gone a step beyond what the port can do.
    const double low = at.kind == rig::PortKind::relay ? limit.low : std::max(unit_value(limit.low, at.kind), at.low);
    const double high =
        at.kind == rig::PortKind::relay ? limit.high : std::min(unit_value(limit.high, at.kind), at.high);
    plan_.limits.push_back({rig::PortId{number}, low, high, rig::Amperes{limit.microamperes / 1e6}, limit.slew});
  }
  return {};
}

std::optional<Refusal> DevicePlan::take(const WheelPage& message) {
  const auto bad = [&](const char* why) { return Refusal{ErrorCode::bad_wheel, message.port, why}; };
  const rig::Port* const at = port(message.port);
  if (!at) return no_such_port(message.port);
  if (at->kind != rig::PortKind::pulse_source) return wrong_kind(*at, message.port, "makes no pulses");
  LoadedWheel wheel = message.first == 0 ? LoadedWheel{message.total, {}} : wheels_[message.port];
  if (message.first != wheel.edges.size() || message.total != wheel.total ||
      message.first + message.angles.size() > message.total || message.rising > 1)
    return bad("the wheel's pages do not follow one another");
  for (const std::int64_t angle : message.angles) {
    if (angle < 0 || angle >= rig::kFixedCycle) return bad("an edge lies outside one engine cycle");
    if (!wheel.edges.empty() && angle <= wheel.edges.back().angle) return bad("the edges' angles do not increase");
    wheel.edges.push_back({angle, (wheel.edges.size() % 2 == 0) == (message.rising == 1)});
  }
  if (wheel.edges.size() == wheel.total) {
    if (rig::Wheel::problem(wheel.edges)) return bad("the edges are no wheel: an even count, at least two");
    if (built_in_ && wheel.edges != built_in_->edges())
      return bad("this bench was started with another wheel: start it with the product of this run");
  }
  wheels_[message.port] = std::move(wheel);
  plan_.wheels.clear();
  for (const auto& [number, loaded] : wheels_)
    if (loaded.edges.size() == loaded.total) plan_.wheels.push_back({rig::PortId{number}, rig::Wheel{loaded.edges}});
  return {};
}

std::optional<Refusal> DevicePlan::check(const WireTrack& track) const {
  const auto refuse = [&](const char* why) {
    return Refusal{ErrorCode::capture_refused, track.port,
                   fmt::format("port '{}' {}", bench_.ports[track.port].name, why)};
  };
  const rig::Port* const at = port(track.port);
  if (!at) return no_such_port(track.port);
  if (at->captures == 0) return wrong_kind(*at, track.port, "records nothing");
  if (track.kind > 31 || !(at->captures & (1u << track.kind))) return refuse("does not offer this kind of capture");
  const auto kind = static_cast<rig::CaptureKind>(track.kind);
  const bool has_period = kind != rig::CaptureKind::edges && kind != rig::CaptureKind::bytes;
  const std::uint32_t rate = bench_.tick_rate;
  if (!is_sane(track.period, rate) || !is_sane(track.before, rate) || !is_sane(track.after, rate))
    return refuse("cannot be asked for a time that long");
  const rig::Nanoseconds period = time_of(track.period, rate);
  if (has_period && (period.count() == 0 || period < at->shortest_period)) return refuse("is not that fast");
  if (kind == rig::CaptureKind::envelope && period % bench_.grid != rig::Nanoseconds{0})
    return refuse("has bins of whole grid steps only");
  const bool has_trigger = (track.options & WireTrack::kTriggered) != 0;
  if (kind != rig::CaptureKind::triggered)
    return has_trigger ? std::optional{refuse("can be triggered in a 'triggered' track only")} : std::nullopt;
  if (!has_trigger) return refuse("is not told what triggers its track");
  if (track.options & WireTrack::kThroughout) return refuse("is triggered in windows only");
  if (track.before + track.after < track.period) return refuse("would record nothing around its event");
  if (time_of(track.before, rate) % bench_.grid != rig::Nanoseconds{0})
    return refuse("records from whole grid steps before its event on");
  return {};
}

rig::Track DevicePlan::track_of(const WireTrack& track) const {
  rig::Track made{rig::PortId{track.port},
                  static_cast<rig::CaptureKind>(track.kind),
                  time_of(track.period, bench_.tick_rate),
                  (track.options & WireTrack::kThroughout) != 0,
                  {}};
  if (!(track.options & WireTrack::kTriggered)) return made;
  rig::Trigger trigger;
  if (track.options & WireTrack::kThreshold) trigger.threshold = rig::Volts{track.threshold / 1e6};
  trigger.rising = (track.options & WireTrack::kRising) != 0;
  trigger.before = time_of(track.before, bench_.tick_rate);
  trigger.after = time_of(track.after, bench_.tick_rate);
  made.trigger = trigger;
  return made;
}

std::optional<Refusal> DevicePlan::take(const Plan& message) {
  std::vector<rig::Track>& tracks = plan_.capture.tracks;
  if (message.first != tracks.size())
    return Refusal{ErrorCode::malformed, message.first, "the pages of the plan do not follow one another"};
  if (tracks.size() + message.tracks.size() > kMostTracks)
    return Refusal{ErrorCode::too_many, kMostTracks, fmt::format("this board records at most {} tracks", kMostTracks)};
  for (const WireTrack& track : message.tracks)
    if (auto refusal = check(track)) return refusal;
  for (const WireTrack& track : message.tracks) tracks.push_back(track_of(track));
  return {};
}

std::optional<Refusal> DevicePlan::take(const StartsFrom& message) {
  std::vector<rig::PortState> made;
  for (const WirePortState& state : message.states) {
    const rig::Port* const at = port(state.port);
    if (!at) return no_such_port(state.port);
    if (!is_output(at->kind)) return wrong_kind(*at, state.port, "is no output");
    const rig::PortId id{state.port};
    const double value = unit_value(state.value, at->kind);
    if (state.kind == WirePortState::kOpen)
      made.push_back({id, rig::HighImpedance{}});
    else if (state.kind == WirePortState::kGrounded)
      made.push_back({id, rig::Grounded{}});
    else if (state.kind != WirePortState::kValue)
      return Refusal{ErrorCode::malformed, state.port, "an output has no state of that number"};
    else if (at->kind == rig::PortKind::resistance_source)
      made.push_back({id, rig::Ohms{value}});
    else
      made.push_back({id, rig::Volts{value}});
  }
  starts_from_.insert(starts_from_.end(), message.states.begin(), message.states.end());
  plan_.starts_from.insert(plan_.starts_from.end(), made.begin(), made.end());
  return {};
}

std::optional<Refusal> DevicePlan::problem(const std::vector<rig::PortId>& closed_at_rest) const {
  for (const auto& [number, wheel] : wheels_) {
    if (wheel.edges.size() != wheel.total || wheel.total == 0)
      return Refusal{ErrorCode::bad_wheel, number, "the wheel is incomplete"};
  }
  for (const WirePortState& state : starts_from_) {
    const rig::Port& at = bench_.ports[state.port];
    const bool closed = std::count(closed_at_rest.begin(), closed_at_rest.end(), rig::PortId{state.port}) != 0;
    const bool zero = state.kind == WirePortState::kValue && state.value == 0;
    const bool open = state.kind == WirePortState::kOpen;
    bool same = false;
    switch (safe_state_of(at.kind, closed)) {
      case SafeState::off:
        same = zero || open;
        break;
      case SafeState::relay_open:
        same = zero || open;
        break;
      case SafeState::relay_closed:
        same = state.kind == WirePortState::kValue && state.value == 1;
        break;
      default:
        same = open;
    }
    if (!same)
      return Refusal{
          ErrorCode::wrong_start, state.port,
          fmt::format("output '{}' is in its safe state, not in the one this timeline starts from", at.name)};
  }
  return {};
}

}  // namespace drivers::board
