#include "drivers/emulated/speed_line.hpp"

#include <algorithm>
#include <cmath>

namespace drivers::emulated {
namespace {

// The captures decide at half of what the pull-up goes to, give or take; common practice, no source.
constexpr double kCaptureLower = 0.45, kCaptureUpper = 0.55;
constexpr double kStageOhms = 20;  ///< of the module's own open drain; common practice, no source

double siemens(const rig::BenchSetup& setup, const std::optional<rig::PortId>& sense) {
  if (!sense) return 0;
  const double ohms = setup.ports[index(*sense)].resistance.value();
  return ohms > 0 ? 1 / ohms : 0;
}

double ohms(const rig::BenchSetup& setup, const std::optional<rig::PortId>& port) {
  return port ? setup.ports[index(*port)].resistance.value() : 0;
}

double settling(const rig::BenchSetup& setup, const std::optional<rig::PortId>& sense) {
  return sense ? static_cast<double>(setup.ports[index(*sense)].settling.count()) : 0;
}

/// Two resistances to the same voltage, or one of them, or none.
std::optional<double> parallel(const std::optional<double>& a, const std::optional<double>& b) {
  if (!a || !b) return a ? a : b;
  return *a * *b / (*a + *b);
}

}  // namespace

SpeedLine::SpeedLine(const rig::BenchSetup& setup, const rig::Product& product, const SpeedBuild& build,
                     const std::string& serial, Contacts contacts, std::int64_t tick_ns)
    : line_{&product.speed},
      wiring_{&setup.wiring.speed},
      build_{build},
      contacts_{contacts},
      tick_ns_{tick_ns},
      jitter_{setup.seed, serial, 5},
      wheel_{product.speed.wheel} {
  network_.load_in = siemens(setup, wiring_->edges_in) + siemens(setup, wiring_->sense_in);
  network_.load_out = siemens(setup, wiring_->edges_out) + siemens(setup, wiring_->sense_out);
  network_.drag = build_.drag_ohms ? 1 / *build_.drag_ohms : 0;
  drain_ohms_ = ohms(setup, wiring_->source) + ohms(setup, wiring_->foot);
  loop_back_ohms_ = ohms(setup, setup.wiring.loop_back);

  // Two pull-ups in parallel make up the product's one. A regenerated line has one in front of the module and one
  // behind it: the module's input needs its own.
  const rig::PullUpPlace place = line_->pull_up_at;
  const bool regenerated = line_->routing == rig::SpeedRouting::regenerated;
  const double each = line_->pull_up.value() * (place == rig::PullUpPlace::both ? 2 : 1);
  bench_pull_up_ = place != rig::PullUpPlace::module;
  pull_up_ohms_ = each + ohms(setup, wiring_->pull_up_supply) + ohms(setup, wiring_->pull_up_switch);
  if (!product.straight_through) {
    const bool of_module = place != rig::PullUpPlace::controller;
    if (regenerated) {
      module_pull_up_ = line_->pull_up.value();
      if (of_module) out_pull_up_ = each;
    } else if (of_module) {
      module_pull_up_ = each;
    }
    module_pull_up_ = parallel(module_pull_up_, build_.own_pull_up);
  }
  needs_rail_ = module_pull_up_ || out_pull_up_;

  for (const Pin pin : {kIn, kOut}) {
    comparators_[pin].lower = kCaptureLower * line_->pull_up_to.value();
    comparators_[pin].upper = kCaptureUpper * line_->pull_up_to.value();
  }
  comparators_[kModule].lower = build_.lower;
  comparators_[kModule].upper = build_.upper;

  Mixture in{}, out{};
  in[kSource] = out[kOutput] = 1;
  const double tau_in = settling(setup, wiring_->sense_in), tau_out = settling(setup, wiring_->sense_out);
  net_.add_sense(tau_in, in);
  net_.add_sense(tau_out, out);
  if (wiring_->slow_edges) {
    slow_tau_ = static_cast<double>(wiring_->slow_edges->time_constant.count());
    // Two equal time constants in a row would need a term t exp(-t / tau); a thousandth apart is the same signal.
    for (const double tau : {tau_in, tau_out}) {
      if (tau > 0 && std::abs(slow_tau_ / tau - 1) < 4e-3) slow_tau_ *= 1.005;
    }
  }
  if (wiring_->noise) {
    noise_volts_ = wiring_->noise->peak_to_peak.value() / 2;
    noise_half_ = std::max<std::int64_t>(wiring_->noise->period.count() / 2, 100);
  }

  solve_all();
  for (std::size_t pin = 0; pin < kPins; ++pin) {
    volts_[pin] = levels_[0][pin].volts;
    comparators_[pin].high = volts_[pin] > comparators_[pin].upper;
  }
  show(0);
  net_.settle();
}

void SpeedLine::start_piece(std::int64_t at, const rig::SpeedPiece& piece) {
  if (!generator_) generator_.emplace(line_->wheel, static_cast<std::uint32_t>(1'000'000'000 / tick_ns_));
  generator_->start_piece(first_tick_at(at), piece);
  if (drain_on_ == generator_->level()) drain(at, !generator_->level());
}

void SpeedLine::release(std::int64_t at) {
  generator_.reset();
  if (drain_on_) drain(at, false);
}

void SpeedLine::connect(std::int64_t at, const Switches& switches) {
  if (switches == switches_) return;
  switches_ = switches;
  rewire(at);
}

bool SpeedLine::set_relay(std::int64_t at, rig::PortId relay, bool closed) {
  if (wiring_->pull_up_switch == relay) {
    pull_up_closed_ = closed;
    rewire(at);
    return true;
  }
  const bool slow = wiring_->slow_edges && wiring_->slow_edges->relay == relay;
  if (!slow && !(wiring_->noise && wiring_->noise->relay == relay)) return false;
  if ((slow ? slow_ : noisy_) == closed) return true;
  const bool before = detailed();
  (slow ? slow_ : noisy_) = closed;
  if (!before) begin_counting(at);
  if (before && !detailed()) end_counting(at);
  at_ = at;
  if (slow) {
    net_.set_tau(kSource, slow_ ? slow_tau_ : 0);
    net_.set_tau(kOutput, slow_ ? slow_tau_ : 0);
  } else {
    noise_now_ = noisy_ ? noise_volts_ : 0;
    next_noise_ = at + noise_half_;
  }
  settle(at, false);
  return true;
}

void SpeedLine::set_output(std::int64_t at, rig::PortId port, std::optional<double> volts) {
  if (wiring_->foot == port) foot_ = volts;
  if (wiring_->pull_up_supply == port) supply_ = volts;
  if (wiring_->foot == port || wiring_->pull_up_supply == port) rewire(at);
}

void SpeedLine::set_rail(std::int64_t at, double volts) {
  if (volts == rail_) return;
  rail_ = volts;
  if (needs_rail_) rewire(at);
}

/// Whatever changes the network.
void SpeedLine::rewire(std::int64_t at) {
  const bool before = regenerates_;
  regenerates_ = line_->routing == rig::SpeedRouting::regenerated && switches_.isolator && switches_.module_works;
  if (before != regenerates_) {
    coming_.clear();
    stage_on_ = regenerates_ && !comparators_[kModule].high;
  }
  solve_all();
  settle(at, false);
  tell_bus(at);
}

void SpeedLine::set_wires(std::int64_t at, const FaultBus& faults) {
  using rig::ConnectorSide;
  wire_in_ = faults.wire("speed", ConnectorSide::sensor);
  network_.wire_out = faults.wire("speed", ConnectorSide::controller);
  network_.bus_in = faults.joint("speed", ConnectorSide::sensor);
  network_.bus_out = faults.joint("speed", ConnectorSide::controller);
  rewire(at);
}

void SpeedLine::set_bus(std::int64_t at, const std::optional<SpeedNetwork::Pull>& others) {
  network_.bus = others;
  solve_all();
  settle(at, false);
}

SpeedNetwork::Pull SpeedLine::seen_from_bus() const {
  SpeedNetwork n = network_now();
  pull_down(n, state());
  return emulated::seen_from_bus(n);
}

/// The network as the switches stand, with no drain on.
SpeedNetwork SpeedLine::network_now() const {
  SpeedNetwork n = network_;
  if (switches_.isolator) {
    n.contact_in = contacts_.in;
    n.contact_out = contacts_.out;
  }
  if (!regenerates_ && !build_.open) n.through = build_.through_ohms;
  if (module_pull_up_) n.module_in = {{*module_pull_up_, rail_}};
  if (out_pull_up_) n.module_out = {{*out_pull_up_, rail_}};
  const std::optional<double> supply = wiring_->pull_up_supply ? supply_ : line_->pull_up_to.value();
  if (bench_pull_up_ && pull_up_closed_ && supply) n.pull_up = {{pull_up_ohms_, *supply}};
  if (switches_.loop_back) n.loop_back = loop_back_ohms_;
  return n;
}

/// What pulls down in one of the four states of levels_.
void SpeedLine::pull_down(SpeedNetwork& n, std::size_t state) const {
  const std::optional<double> foot = wiring_->foot ? foot_ : 0.0;
  n.drain = n.stage = std::nullopt;
  if (state % 2 == 1 && foot && wire_in_) n.drain = {{drain_ohms_ + *wire_in_, *foot}};
  if (state >= 2) n.stage = {{kStageOhms, 0}};
}

void SpeedLine::solve_all() {
  SpeedNetwork n = network_now();
  for (std::size_t state = 0; state < 4; ++state) {
    if (state >= 2 && !regenerates_) break;
    pull_down(n, state);
    const SolvedSpeed solved = solve(n);
    levels_[state] = {solved.bench_in, solved.module_in, solved.bench_out};
  }
  find_delays();
}

/// From one settled level to the other, when is the threshold in between passed?
void SpeedLine::find_delays() {
  for (std::size_t pin = 0; pin < kPins; ++pin) {
    const bool by_drain = follows_drain(static_cast<Pin>(pin));
    const SpeedLevel& off = levels_[0][pin];
    const SpeedLevel& on = levels_[by_drain ? 1 : 2][pin];
    const auto passing = [](const SpeedLevel& from, const SpeedLevel& to, double threshold) -> std::int64_t {
      const double way = from.volts - to.volts, left = threshold - to.volts;
      return way / left > 1 ? std::llround(to.tau_ns * std::log(way / left)) : 0;
    };
    delays_[pin] = {passing(off, on, comparators_[pin].lower), passing(on, off, comparators_[pin].upper)};
  }
}

/// Tells the senses where the line is and where it is going.
void SpeedLine::show(std::int64_t at) {
  if (!voltage_watched_ && at > 0) return;
  if (at > net_.now()) net_.advance(at);
  const auto& levels = levels_[state()];
  for (const Pin pin : {kIn, kOut}) {
    const bool plain = !follows_drain(pin);
    Drive& drive = net_.drive(pin == kIn ? kSource : kOutput);
    drive.level = levels[pin].volts + (plain ? 0 : noise_now_);
    drive.amplitude = slow_ && !plain ? or_nothing(volts_[pin] - levels[pin].volts) : 0;
  }
  net_.changed();
}

}  // namespace drivers::emulated
