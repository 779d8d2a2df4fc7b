#include "drivers/board/wire_units.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rig/core/rig_fault.hpp"
#include "rig/core/tick_time.hpp"

namespace drivers::board {
namespace {

template <class... F>
struct Overloaded : F... {
  using F::operator()...;
};
template <class... F>
Overloaded(F...) -> Overloaded<F...>;

constexpr double kMicro = 1e6, kMilli = 1e3;

std::int32_t to_int32(double value) {
  constexpr double low = std::numeric_limits<std::int32_t>::min(), high = std::numeric_limits<std::int32_t>::max();
  if (!(value > low)) return std::numeric_limits<std::int32_t>::min();
  return value < high ? static_cast<std::int32_t>(value) : std::numeric_limits<std::int32_t>::max();
}
std::int32_t microvolts(rig::Volts v) { return to_int32(std::round(v.value() * kMicro)); }
std::int32_t milliohms(rig::Ohms r) { return to_int32(std::round(r.value() * kMilli)); }
std::uint32_t microamperes(rig::Amperes i) {
  return static_cast<std::uint32_t>(std::clamp(std::round(i.value() * kMicro), 0.0, 4294967295.0));
}

/// How many of a port's wire units make one of its own.
double wire_scale(rig::PortKind kind) {
  switch (kind) {
    case rig::PortKind::resistance_source:
    case rig::PortKind::pulse_source:
      return kMilli;
    case rig::PortKind::relay:
    case rig::PortKind::service_port:
      return 1;
    default:
      return kMicro;
  }
}

/// The action an output's state is on the wire, and the same as a state to start from.
auto action_of(const rig::OutputState& state) {
  using Action = decltype(EventEntry::action);
  return std::visit(Overloaded{
                        [](rig::HighImpedance) { return Action{ToOpen{}}; },
                        [](rig::Grounded) { return Action{ToGround{}}; },
                        [](rig::Volts v) { return Action{StepTo{microvolts(v)}}; },
                        [](rig::Ohms r) { return Action{StepTo{milliohms(r)}}; },
                    },
                    state);
}

WireExchange exchange_of(const rig::Exchange& exchange, const WireMap& map) {
  if (exchange.out.size() + exchange.terminator.size() > 225)
    throw rig::RigFault{"the rig board", "a conversation of more than 225 bytes does not fit a queue entry",
                        "Split it in the scenario"};
  return {
      exchange.length, map.ticks(exchange.time_out), static_cast<std::uint8_t>(std::clamp(exchange.retries, 0, 255)),
      exchange.out,    exchange.terminator,          exchange.baud};
}

EventEntry event_of(const rig::Event& event, const WireMap& map) {
  const auto entry = [&](rig::PortId port, auto action) {
    return EventEntry{map.ticks(event.at), map.of(port), std::move(action)};
  };
  return std::visit(
      Overloaded{
          [&](const rig::SetOutput& a) { return entry(a.port, action_of(a.to)); },
          [&](const rig::RampOutput& a) {
            return entry(a.port, RampTo{microvolts(a.to), map.ticks(a.duration)});
          },
          [&](const rig::SetRelay& a) { return entry(a.port, RelayTo{a.closed}); },
          [&](const rig::SetSpeed& a) {
            return entry(a.port,
                         WirePiece{a.piece.millirpm, a.piece.millirpm_per_second, a.piece.ticks.value_or(kForever)});
          },
          [&](const rig::SetCurrentLimit& a) { return entry(a.port, CurrentLimitTo{microamperes(a.limit)}); },
          [&](const rig::Exchange& a) { return entry(a.port, exchange_of(a, map)); },
      },
      event.action);
}

}  // namespace

std::uint64_t WireMap::ticks(rig::Nanoseconds t) const {
  return static_cast<std::uint64_t>(rig::nearest_tick(rig::BenchTime{t}, tick_rate));
}

rig::BenchTime WireMap::time(std::uint64_t ticks) const {
  return rig::time_of_tick(static_cast<std::int64_t>(ticks), tick_rate);
}

void append_entries(std::vector<Entry>& entries, const rig::Segment& segment, const WireMap& map) {
  SegmentBegin begin{.id = segment.id, .until = 0, .length = 0, .not_before = 0};
  if (const auto* until = std::get_if<rig::Until>(&segment.end)) {
    begin.until = 1;
    begin.length = map.ticks(until->time_out);
    begin.not_before = map.ticks(until->not_before);
    entries.emplace_back(begin);
    for (const rig::SettleCondition& c : until->conditions)
      entries.emplace_back(UntilCondition{rig::index(c.track), map.ticks(c.window), map.ticks(c.slowest),
                                          static_cast<std::uint32_t>(std::max(0, microvolts(c.span))),
                                          c.module_output});
  } else {
    begin.length = map.ticks(std::get<rig::Nanoseconds>(segment.end));
    entries.emplace_back(begin);
  }
  for (const rig::Window& w : segment.windows)
    entries.emplace_back(
        WindowEntry{rig::index(w.track), map.ticks(w.from), w.length ? map.ticks(*w.length) : kForever});
  for (const rig::Event& event : segment.events) entries.emplace_back(event_of(event, map));
  entries.emplace_back(SegmentEndEntry{segment.id});
}

WireLimit wire_limit(const rig::PortLimit& limit, const WireMap& map) {
  const double scale = wire_scale(map.kind_of(limit.port));
  constexpr double kRounding = 1e-6;  // of a wire unit: 5.0 V is not to become 5.000001 V
  return {map.of(limit.port), to_int32(std::floor(limit.low * scale + kRounding)),
          to_int32(std::ceil(limit.high * scale - kRounding)), microamperes(limit.current), limit.slew_per_second};
}

WireTrack wire_track(const rig::Track& track, const WireMap& map) {
  WireTrack wire{.port = map.of(track.port),
                 .kind = static_cast<std::uint8_t>(track.kind),
                 .options = 0,
                 .period = map.ticks(track.period)};
  if (track.throughout) wire.options |= WireTrack::kThroughout;
  if (!track.trigger) return wire;
  wire.options |= WireTrack::kTriggered;
  if (track.trigger->rising) wire.options |= WireTrack::kRising;
  if (const auto* threshold = std::get_if<rig::Volts>(&track.trigger->threshold)) {
    wire.options |= WireTrack::kThreshold;
    wire.threshold = microvolts(*threshold);
  }
  wire.before = map.ticks(track.trigger->before);
  wire.after = map.ticks(track.trigger->after);
  return wire;
}

WirePortState wire_state(const rig::PortState& state, const WireMap& map) {
  const auto action = action_of(state.state);
  WirePortState wire{.port = map.of(state.port), .kind = static_cast<std::uint8_t>(action.index()), .value = 0};
  if (const auto* step = std::get_if<StepTo>(&action)) wire.value = step->value;
  return wire;
}

rig::TrackInfo track_info(const rig::Track& track, const WireTrackInfo& info) {
  return {track, info.scale, info.offset,
          rig::ClockInfo{info.clock, rig::Nanoseconds{info.resolution_ns}, rig::Nanoseconds{info.skew_ns},
                         rig::Nanoseconds{info.uncertainty_ns}}};
}

}  // namespace drivers::board
