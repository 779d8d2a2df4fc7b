#include "rig/compile/speed_circuit.hpp"

#include <algorithm>
#include <cmath>
#include <limits>

#include "rig/compile/judgement.hpp"

namespace rig {
namespace {

double parallel(double a, double b) { return a > 0 && b > 0 ? a * b / (a + b) : std::max(a, b); }

}  // namespace

Volts SpeedCircuit::low(Volts foot) const {
  return foot + (supply - foot) * (drain.value() / (drain + pull_up).value());
}
Volts SpeedCircuit::high(Volts at_supply) const {
  return bleed > Ohms{0} ? at_supply * (bleed.value() / (bleed + pull_up).value()) : at_supply;
}
Volts SpeedCircuit::foot_for(Volts low) const {
  const double share = drain.value() / (drain + pull_up).value();
  return Volts{(low.value() - supply.value() * share) / (1 - share)};
}
Volts SpeedCircuit::supply_for(Volts high) const {
  return bleed > Ohms{0} ? high * ((bleed + pull_up).value() / bleed.value()) : high;
}
Amperes SpeedCircuit::current(Volts foot) const { return Amperes{(supply - foot).value() / (drain + pull_up).value()}; }
Nanoseconds SpeedCircuit::shortest_level(Rpm speed) const {
  return speed > Rpm{0} ? Nanoseconds{std::llround(static_cast<double>(shortest.count()) / speed.value())}
                        : Nanoseconds::max();
}

SpeedCircuit speed_circuit(const Product& product, const BenchSetup& bench) {
  const auto& wiring = bench.wiring.speed;
  const auto port = [&](PortId id) -> const Port& { return bench.ports[index(id)]; };
  SpeedCircuit circuit;
  circuit.supply = product.speed.pull_up_to;
  circuit.pull_up = product.speed.pull_up;
  circuit.drain = port(wiring.source).resistance;
  double leaks = 0;
  for (const auto sense :
       {std::optional{wiring.edges_in}, std::optional{wiring.edges_out}, wiring.sense_in, wiring.sense_out}) {
    if (!sense) continue;
    circuit.bleed = Ohms{parallel(circuit.bleed.value(), port(*sense).resistance.value())};
    leaks += port(*sense).leakage.value();
  }
  leaks += port(wiring.source).leakage.value();
  circuit.leaks = Volts{leaks * circuit.bleed.value()};
  for (const auto sense : {wiring.sense_in, wiring.sense_out}) {
    if (!sense) continue;
    circuit.sense_lag = std::max(circuit.sense_lag, port(*sense).settling);
    circuit.sense_period = std::max(circuit.sense_period, port(*sense).shortest_period);
  }
  if (wiring.pull_up_supply) circuit.pull_up = circuit.pull_up + port(*wiring.pull_up_supply).resistance;
  if (wiring.pull_up_switch) circuit.pull_up = circuit.pull_up + port(*wiring.pull_up_switch).resistance;
  if (wiring.foot) {
    circuit.drain = circuit.drain + port(*wiring.foot).resistance;
    circuit.low_error = Volts{limit_of_error(port(*wiring.foot), product.speed.input.reads_low_below.value())};
  }
  if (wiring.pull_up_supply)
    circuit.high_error =
        Volts{limit_of_error(port(*wiring.pull_up_supply), product.speed.input.reads_high_above.value())};
  FixedAngle arc = kFixedCycle;
  const auto& edges = product.speed.wheel.edges();
  for (std::size_t i = 0; i < edges.size(); ++i)
    arc = std::min(arc, i + 1 < edges.size() ? edges[i + 1].angle - edges[i].angle
                                             : edges.front().angle + kFixedCycle - edges[i].angle);
  const double degrees = static_cast<double>(arc) / static_cast<double>(kFixedDegree);
  circuit.shortest = Nanoseconds{std::llround(degrees / 6 * 1e9)};
  return circuit;
}

namespace {
/// Room for what else stands on the line: resistors of a per cent, contacts, the senses' own errors (common practice,
/// no source).
constexpr Volts kRoom{0.010};
}  // namespace

Volts raised_low(const Product& product, const SpeedCircuit& circuit) {
  return product.speed.input.reads_low_below - circuit.low_error - kRoom;
}
Volts lowered_high(const Product& product, const SpeedCircuit& circuit) {
  return product.speed.input.reads_high_above + circuit.high_error + kRoom;
}

Volts highest_without_pull_up(const Product& product, const SpeedCircuit& circuit) {
  const double bleed = circuit.bleed.value();
  return product.speed.pull_up_to * (bleed / (bleed + product.wires.least_input.value()));
}

Volts most_sag(const Product& product, const SpeedCircuit& circuit) {
  const double pull_up = circuit.pull_up.value();
  return circuit.supply * (pull_up / (pull_up + product.wires.least_input.value()));
}

Swing slow_swing(const SpeedCircuit& circuit, Nanoseconds time_constant, Rpm speed) {
  // Steady state of a square wave of equal halves through one time constant: exp(-t/tau) / (1 + exp(-t/tau)) of the
  // swing is missing at either end.
  const double left = std::exp(-seconds(circuit.shortest_level(speed)) / seconds(time_constant));
  const auto low = circuit.low(Volts{0}), high = circuit.high(circuit.supply);
  const auto missing = (high - low) * (left / (1 + left));
  return {low + missing, high - missing};
}

Rpm fastest_slow_speed(const Product& product, const BenchSetup& bench) {
  const auto& wiring = bench.wiring.speed;
  if (!wiring.slow_edges || !wiring.noise) return Rpm{0};
  const auto circuit = speed_circuit(product, bench);
  const auto& input = product.speed.input;
  const auto rides = wiring.noise->peak_to_peak / 2;
  Rpm fastest{0};
  for (Rpm speed{100}; speed <= product.speed.highest; speed += Rpm{100}) {
    const auto swing = slow_swing(circuit, wiring.slow_edges->time_constant, speed);
    if (swing.low + rides > input.reads_low_below || swing.high - rides < input.reads_high_above) break;
    fastest = speed;
  }
  return fastest;
}

double least_wander_us(const Product& product, const BenchSetup& bench) {
  const auto& wiring = bench.wiring.speed;
  if (!wiring.slow_edges || !wiring.noise) return 0;
  const double tau_us = static_cast<double>(wiring.slow_edges->time_constant.count()) / 1e3;
  const double slope = product.speed.pull_up_to.value() / 2 / tau_us;  // V per us
  return 0.25 * wiring.noise->peak_to_peak.value() / slope;
}

namespace {
/// An extreme of many conversions lies beyond the mean by a code or two of noise (common practice, no source).
double extreme_error(const Port& sense) { return 2 * sense.resolution; }
}  // namespace

Ohms through_uncertainty(const Port& sense_in, const Port& sense_out, const SpeedCircuit& circuit) {
  // Offsets are taken while the line is high and cancel; what a gain's error makes of the swing does not
  // (JCGM 100:2008, 4.3.7: a/sqrt(3)).
  const double swing = (circuit.high(circuit.supply) - circuit.low(Volts{0})).value();
  double squares = 0;
  for (const auto* sense : {&sense_in, &sense_out})
    squares += std::pow(sense->accuracy.gain * swing, 2) / 3 + 2 * std::pow(extreme_error(*sense), 2) / 3;
  const double current = circuit.current(Volts{0}).value();
  return Ohms{current > 0 ? 2 * std::sqrt(squares) / current : std::numeric_limits<double>::infinity()};
}

Volts level_uncertainty(const Port& sense, Volts level) {
  const double limit = sense.accuracy.offset + sense.accuracy.gain * std::abs(level.value());
  return Volts{2 * std::sqrt((limit * limit + std::pow(extreme_error(sense), 2)) / 3)};
}

}  // namespace rig
