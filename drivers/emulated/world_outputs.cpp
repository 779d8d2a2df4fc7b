// What the bench's outputs do: levels, ramps, relays on their way.
#include <algorithm>
#include <cmath>

#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/world.hpp"

namespace drivers::emulated {
namespace {

template <class... F>
struct Overloaded : F... {
  using F::operator()...;
};
template <class... F>
Overloaded(F...) -> Overloaded<F...>;

}  // namespace

void World::apply(std::int64_t at, const rig::Action& action) {
  std::visit(Overloaded{
                 [&](const rig::SetOutput& a) { set(at, a.port, a.to); },
                 [&](const rig::RampOutput& a) { ramp(at, a.port, a.to.value(), a.duration.count()); },
                 [&](const rig::SetRelay& a) { command_relay(at, a.port, a.closed); },
                 [&](const rig::SetSpeed& a) { speed_.start_piece(at, a.piece); },
                 [&](const rig::SetCurrentLimit& a) {
                   for (Line& line : lines_) {
                     if (line.wiring().source != a.port) continue;
                     line.limit_source(a.limit.value());
                     rebuild(line, at);
                   }
                   if (supply_.limit_supply(a.port, a.limit.value())) rewire_supplies(at);
                 },
                 [&](const rig::Exchange& a) {
                   service_.advance(at);
                   service_.ask(at, a);
                 },
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
  keep_together(due.at);
  if (due.what == Pending::What::contact) {
    move_contact(due.at, due.port, due.closed);
  } else if (due.what == Pending::What::climate) {
    set_climate(due.at);
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
  if (duration > 0) schedule({output.ramp_end, port, Pending::What::ramp_end});
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
    if (line.drive_source(output.driven)) {
      rebuild(line, at);
    } else {
      changed(line);
    }
    feed_back(at);
  }
  for (std::size_t i = 0; i < supply_.rails(); ++i) {
    if (!supply_.wiring(i) || supply_.wiring(i)->source != port) continue;
    const bool other = supply_.open(i) == output.driven;
    supply_.drive_source(i, output.driven);
    if (output.driven || other) drive_rail(at, i, volts, rise);
    if (!other) continue;
    rewire_supplies(at);
    for (Line& line : lines_) rebuild(line, at);
    feed_back(at);
  }
  if (setup_.wiring.battery == port) drive(supply_.net(), kBattery);
  share_drives();
  const rig::SpeedWiring& speed = setup_.wiring.speed;
  if (speed.foot == port || speed.pull_up_supply == port) {
    play_speed(at);
    speed_.set_output(at, port, output.driven ? std::optional{volts} : std::nullopt);
  }
}

/// Every line may see every rail: by its pull-ups, or by what the rails' currents do to the module's ground.
void World::drive_rail(std::int64_t at, std::size_t rail, double volts, double rise) {
  const Driver which = SupplyNet::driver(rail);
  const auto drive = [&](Net& net) {
    net.advance(at);
    net.drive(which).follow(volts, rise, net.tau(which));
  };
  drive(supply_.net());
  supply_.net().changed();
  for (Line& line : lines_) {
    drive(line.net());
    changed(line);
  }
  share_drives();
}

/// A relay that is told what it does already does not move. One told otherwise on its way turns back from where it is.
void World::command_relay(std::int64_t at, rig::PortId port, bool closed) {
  if (stuck_[index(port)] || static_cast<bool>(commanded_[index(port)]) == closed) return;
  commanded_[index(port)] = closed;
  std::erase_if(pending_, [&](const Pending& p) { return p.what == Pending::What::contact && p.port == port; });
  const ContactChange change = contact_change(setup_.seed, port, at, setup_.ports[index(port)].travel.count());
  for (std::size_t i = 0; i < change.count; ++i) {
    schedule({change.times[i], port, Pending::What::contact, i % 2 == 0 ? closed : !closed});
  }
}

void World::move_contact(std::int64_t at, rig::PortId port, bool closed) {
  const rig::Wiring& wiring = setup_.wiring;
  if (wiring.bypass_request == port) bypass_request_ = closed;
  if (wiring.loop_back == port) switches_.loop_back = closed;
  if (wiring.isolator == port) switches_.isolator = closed;
  play_speed(at);
  speed_.set_relay(at, port, closed);
  if (faults_.set_relay(port, closed)) {
    rewire_faults(at);
  } else if (supply_.set_relay(port, closed) || wiring.isolator == port) {
    rewire_supplies(at);
    rewire(at);
  } else if (wiring.loop_back == port || (joined_ && wiring.bypass_request == port)) {
    rewire(at);
  }
  for (Line& line : lines_) {
    if (line.set_load(port, closed)) rebuild(line, at);
  }
  feed_back(at);
}

void World::make_safe(std::int64_t at) {
  pending_.clear();
  speed_.release(at);
  service_.advance(at);
  service_.fall_silent(at);
  for (std::size_t i = 0; i < setup_.ports.size(); ++i) {
    const auto port = static_cast<rig::PortId>(i);
    const rig::PortKind kind = setup_.ports[i].kind;
    if (kind == rig::PortKind::relay && !stuck_[i]) {
      commanded_[i] = closed_at_rest(setup_.wiring, port);
      move_contact(at, port, commanded_[i]);
    }
    if (kind == rig::PortKind::supply || kind == rig::PortKind::voltage_source ||
        kind == rig::PortKind::resistance_source) {
      set(at, port, rig::HighImpedance{});
    }
  }
}

}  // namespace drivers::emulated
