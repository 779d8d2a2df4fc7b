#include "drivers/board/device_event.hpp"

#include <fmt/format.h>

#include <algorithm>

#include "drivers/board/device_ticks.hpp"

namespace drivers::board {
namespace {

using Result = std::variant<rig::Action, Refusal>;

/// An event's port with what it can do and may do.
class Target {
 public:
  Target(std::uint16_t number, const rig::Port& port, const DevicePlan& plan)
      : id_{number}, port_{port}, limit_{plan.limit(number)}, tick_rate_{plan.bench().tick_rate} {}

  bool may_be_driven() const { return limit_ || port_.kind == rig::PortKind::service_port; }
  Refusal refuse(ErrorCode code, const char* why) const {
    return {code, 0, fmt::format("port '{}': {}", port_.name, why)};
  }
  Refusal undriven() const { return refuse(ErrorCode::beyond_limit, "no limits were loaded, so it may not be driven"); }

  Result operator()(const StepTo& step) const {
    if (auto refusal = check(step.value)) return *refusal;
    const double value = unit_value(step.value, port_.kind);
    if (port_.kind == rig::PortKind::resistance_source) return rig::Action{rig::SetOutput{id_, rig::Ohms{value}}};
    return rig::Action{rig::SetOutput{id_, rig::Volts{value}}};
  }
  Result operator()(const RampTo& ramp) const {
    if (auto refusal = check(ramp.value)) return *refusal;
    if (!is_sane(ramp.duration, tick_rate_)) return refuse(ErrorCode::out_of_range, "a ramp longer than a day");
    return rig::Action{
        rig::RampOutput{id_, rig::Volts{unit_value(ramp.value, port_.kind)}, time_of(ramp.duration, tick_rate_)}};
  }
  Result operator()(const WirePiece& piece) const {
    const bool open = piece.ticks == kForever;
    rig::SpeedPiece made{piece.millirpm, piece.millirpm_per_second, {}};
    if (!open) made.ticks = piece.ticks;
    if (const auto problem = rig::speed_piece_problem(made, tick_rate_))
      return refuse(ErrorCode::out_of_range, problem->c_str());
    const double gain =
        open ? 0 : static_cast<double>(piece.millirpm_per_second) / tick_rate_ * static_cast<double>(piece.ticks);
    const double last =
        std::clamp(piece.millirpm + gain, 0.0, 2e9);  // a piece that would pass through zero stops there
    for (const std::int32_t speed : {piece.millirpm, static_cast<std::int32_t>(last)})
      if (auto refusal = check(speed)) return *refusal;
    return rig::Action{rig::SetSpeed{id_, made}};
  }
  Result operator()(const ToOpen&) const { return rig::Action{rig::SetOutput{id_, rig::HighImpedance{}}}; }
  Result operator()(const ToGround&) const { return rig::Action{rig::SetOutput{id_, rig::Grounded{}}}; }
  Result operator()(const RelayTo& relay) const {
    if (relay.closed > 1) return refuse(ErrorCode::out_of_range, "a relay is open (0) or closed (1)");
    if (relay.closed < limit_->low || relay.closed > limit_->high)
      return refuse(ErrorCode::beyond_limit, "the limits of this run keep the relay where it is");
    return rig::Action{rig::SetRelay{id_, relay.closed == 1}};
  }
  Result operator()(const CurrentLimitTo& to) const {
    if (to.microamperes > limit_->microamperes)
      return refuse(ErrorCode::beyond_limit, "a current limit above the limits of this run");
    return rig::Action{rig::SetCurrentLimit{id_, rig::Amperes{to.microamperes / 1e6}}};
  }
  Result operator()(const WireExchange& talk) const {
    if (!is_sane(talk.time_out, tick_rate_)) return refuse(ErrorCode::out_of_range, "a time-out longer than a day");
    if (talk.terminator.empty() && talk.length == 0)
      return refuse(ErrorCode::out_of_range, "a conversation that waits for neither a terminator nor a length");
    if (talk.baud == 0) return refuse(ErrorCode::out_of_range, "a conversation at 0 baud");
    return rig::Action{rig::Exchange{id_, talk.out, talk.terminator, talk.length, time_of(talk.time_out, tick_rate_),
                                     talk.retries, talk.baud}};
  }

 private:
  std::optional<Refusal> check(std::int32_t value) const {
    const WireRange range = wire_range(port_.low, port_.high, port_.kind);
    if (value < range.low || value > range.high) return refuse(ErrorCode::out_of_range, "a value beyond its range");
    if (value < limit_->low || value > limit_->high)
      return refuse(ErrorCode::beyond_limit, "a value beyond the limits of this run");
    return {};
  }

  rig::PortId id_;
  const rig::Port& port_;
  const WireLimit* limit_;
  std::uint32_t tick_rate_;
};

}  // namespace

Result action_of(const EventEntry& entry, const DevicePlan& plan) {
  const rig::Port* const port = plan.port(entry.port);
  if (!port) return Refusal{ErrorCode::no_such_port, 0, fmt::format("this board has no port {}", entry.port)};
  const Target target{entry.port, *port, plan};
  if (!(set_points_of(*port, plan.bench()) & (1u << entry.action.index())))
    return target.refuse(ErrorCode::wrong_kind, "does not take this kind of set-point");
  if (!target.may_be_driven()) return target.undriven();
  return std::visit(target, entry.action);
}

}  // namespace drivers::board
