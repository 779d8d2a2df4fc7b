// What the bench's outputs do: levels, ramps, relays on their way.
#include <algorithm>
#include <cmath>

#include "drivers/emulated/world.hpp"

namespace drivers::emulated {
namespace {

template <class... F>
struct Overloaded : F... {
  using F::operator()...;
};
template <class... F>
Overloaded(F...) -> Overloaded<F...>;

/// A relay takes effect this part of its longest travel after the command.
constexpr double kTravelShare = 0.6;

}  // namespace

void World::apply(std::int64_t at, const rig::Action& action) {
  std::visit(Overloaded{
                 [&](const rig::SetOutput& a) { set(at, a.port, a.to); },
                 [&](const rig::RampOutput& a) { ramp(at, a.port, a.to.value(), a.duration.count()); },
                 [&](const rig::SetRelay& a) {
                   const auto travel = static_cast<double>(setup_.ports[index(a.port)].travel.count());
                   schedule({at + std::llround(kTravelShare * travel), a.port, true, a.closed});
                 },
                 [&](const rig::SetSpeed& a) { speed_.start_piece(at, a.piece); },
                 [](const rig::SetCurrentLimit&) {},  // nothing here can draw that much
                 [](const rig::Exchange&) {},         // refused when it was appended
             },
             action);
}

void World::schedule(Pending pending) {
  const auto later =
      std::find_if(pending_.begin(), pending_.end(), [&](const Pending& p) { return p.at > pending.at; });
  pending_.insert(later, pending);
}

void World::settle_pending() {
  const Pending due = pending_.front();
  pending_.erase(pending_.begin());
  if (due.relay) {
    switch_relay(due.at, due.port, due.closed);
  } else if (Output& output = outputs_[index(due.port)]; output.ramp_end == due.at) {
    output.ramp_end = 0;
    output.ramp_rise = 0;
    follow(due.at, due.port);
  }
}

void World::set(std::int64_t at, rig::PortId port, const rig::OutputState& to) {
  Output& output = outputs_[index(port)];
  if (const auto* volts = std::get_if<rig::Volts>(&to)) {
    const bool limited = output.slew > 0 && output.driven;
    const double way = std::abs(volts->value() - output.level);
    ramp(at, port, volts->value(), limited ? std::llround(way / output.slew * 1e9) : 0);
    return;
  }
  output.ramp_end = 0;
  output.ramp_rise = 0;
  output.level = 0;
  output.exact = true;
  output.driven = !std::holds_alternative<rig::HighImpedance>(to);
  if (const auto* ohms = std::get_if<rig::Ohms>(&to)) {
    for (Line& line : lines_) {
      if (line.wiring().source == port) line.set_source_ohms(output.error.of(ohms->value()));
    }
  }
  follow(at, port);
}

void World::ramp(std::int64_t at, rig::PortId port, double to, std::int64_t duration) {
  Output& output = outputs_[index(port)];
  if (output.ramp_end > at) {  // from where a ramp under way has got to
    output.level -= output.ramp_rise * static_cast<double>(output.ramp_end - at);
  }
  const double from = output.driven ? output.level : 0;
  output.driven = true;
  output.exact = false;
  output.level = to;
  output.ramp_rise = duration > 0 ? (to - from) / static_cast<double>(duration) : 0;
  output.ramp_end = duration > 0 ? at + duration : 0;
  if (duration > 0) schedule({output.ramp_end, port, false, false});
  follow(at, port);
}

/// Hands an output's present course to what hangs on it.
void World::follow(std::int64_t at, rig::PortId port) {
  const Output& output = outputs_[index(port)];
  double level = output.level - output.ramp_rise * static_cast<double>(std::max<std::int64_t>(output.ramp_end - at, 0));
  if (output.ramp_rise == 0 && output.resolution > 0) level = std::round(level / output.resolution) * output.resolution;
  const double volts = output.exact ? 0 : output.error.of(level);
  const double rise = output.exact ? 0 : output.ramp_rise * (1 + output.error.gain);
  const auto drive = [&](Net& net, Driver which) {
    net.advance(at);
    net.drive(which).follow(volts, rise, net.tau(which));
    net.changed();
  };
  for (Line& line : lines_) {
    if (line.wiring().source != port) continue;
    drive(line.net(), kSource);
    line.drive_source(output.driven);
    rebuild(line, at);
  }
  for (std::size_t i = 0; i < rails_.size(); ++i) {
    if (!rails_[i].wiring || rails_[i].wiring->source != port) continue;
    drive(rails_[i].net, kSource);
    for (Line& line : lines_) {
      if (line.rail() == i) drive(line.net(), kRail);
    }
  }
  if (setup_.wiring.battery == port) drive(battery_, kSource);
}

void World::switch_relay(std::int64_t at, rig::PortId port, bool closed) {
  if (stuck_[index(port)]) return;
  const rig::Wiring& wiring = setup_.wiring;
  if (wiring.bypass_request == port) bypass_request_ = closed;
  if (wiring.isolator == port) switches_.isolator = closed;
  if (wiring.loop_back == port) switches_.loop_back = closed;
  if (wiring.isolator == port || wiring.loop_back == port) rewire(at);
  for (Line& line : lines_) {
    const bool load = line.wiring().load && line.wiring().load->relay == port;
    if (line.wiring().fault_switch != port && !load) continue;
    if (line.wiring().fault_switch == port) line.set_fault_switch(closed);
    if (load) line.set_load(closed);
    rebuild(line, at);
  }
}

bool World::closed_at_rest(rig::PortId port) const {
  return std::any_of(setup_.wiring.lines.begin(), setup_.wiring.lines.end(),
                     [&](const rig::LineWiring& line) { return line.fault_switch == port; });
}

void World::make_safe(std::int64_t at) {
  pending_.clear();
  speed_.release(at);
  for (std::size_t i = 0; i < setup_.ports.size(); ++i) {
    const auto port = static_cast<rig::PortId>(i);
    const rig::PortKind kind = setup_.ports[i].kind;
    if (kind == rig::PortKind::relay) switch_relay(at, port, closed_at_rest(port));
    if (kind == rig::PortKind::supply || kind == rig::PortKind::voltage_source ||
        kind == rig::PortKind::resistance_source) {
      set(at, port, rig::HighImpedance{});
    }
  }
}

}  // namespace drivers::emulated
