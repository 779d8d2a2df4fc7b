#include "drivers/emulated/line.hpp"

#include <cmath>

namespace drivers::emulated {
namespace {

double siemens(rig::Ohms impedance) { return impedance.value() > 0 ? 1 / impedance.value() : 0; }

double contact(const rig::BenchSetup& setup, const std::optional<rig::PortId>& relay) {
  return relay ? setup.ports[index(*relay)].resistance.value() : 0;
}

std::optional<double> ohms(const std::optional<rig::Ohms>& resistance) {
  if (!resistance) return std::nullopt;
  return resistance->value();
}

}  // namespace

Line::Line(const rig::BenchSetup& setup, const rig::LineWiring& wiring, const rig::Product& product, std::size_t number,
           const UnitBuild& build)
    : wiring_{&wiring} {
  const rig::Port& source = setup.ports[index(wiring.source)];
  const rig::Port& in = setup.ports[index(wiring.sense_in)];
  const rig::Port& out = setup.ports[index(wiring.sense_out)];
  source_side_sense_ = !in.module_side_of_fault_switch;
  network_.sense_in_load = source_side_sense_ ? 0 : siemens(in.resistance);
  network_.source_side_load = source_side_sense_ ? siemens(in.resistance) : 0;
  network_.sense_out_load = siemens(out.resistance);
  network_.leakage = build.leakage[number];
  fault_switch_ohms_ = contact(setup, wiring.fault_switch);
  isolator_ohms_ = contact(setup, setup.wiring.isolator);
  loop_back_ohms_ = contact(setup, setup.wiring.loop_back);
  if (wiring.load) load_ohms_ = setup.ports[index(wiring.load->relay)].resistance.value();
  load_closed_ = !wiring.load;
  bypass_ohms_ = product.build.bypass_resistance.value();
  output_ohms_ = product.build.output_resistance.value();
  double output_filter = 0;
  if (number < product.pressures.size()) {
    const rig::PressureChannel& pressure = product.pressures[number];
    const ChannelBuild& channel = build.channels[number];
    rail_ = pressure.rail;
    source_ohms_ = pressure.source_resistance.value();
    pull_up_ = ohms(pressure.controller.pull_up);
    pull_down_ = ohms(pressure.controller.pull_down);
    bypass_ohms_ = channel.bypass_ohms;
    has_bypass_ = channel.has_bypass;
    output_filter = channel.output_filter_ns;
  } else {
    const rig::TemperatureChannel& temperature = *product.temperature;
    rail_ = temperature.rail;
    source_ohms_ = source.resistance.value();
    straight_ = temperature.routing != rig::TemperatureRouting::redriven;
    // Two pull-ups in parallel make up the curve's one.
    const double each = temperature.curve.pull_up.value() * (temperature.pull_up_at == rig::PullUpPlace::both ? 2 : 1);
    if (temperature.pull_up_at != rig::PullUpPlace::module) pull_up_ = each;
    if (temperature.pull_up_at != rig::PullUpPlace::controller) network_.module_pull_up = each;
    output_filter = static_cast<double>(product.build.output_filter.count());
  }
  const auto tau = [](const rig::Port& port) { return static_cast<double>(port.settling.count()); };
  net_.set_tau(kSource, tau(source));
  net_.set_tau(kOutput, output_filter);
  net_.add_sense(tau(in), {});
  net_.add_sense(tau(out), {});
}

void Line::drive_source(bool driven) { driven_ = driven; }

void Line::rebuild(const Switches& switches) {
  const auto closed = [](bool yes, double resistance) { return yes ? std::optional{resistance} : std::nullopt; };
  network_.source = closed(driven_, source_ohms_);
  network_.fault_switch = closed(fault_switch_closed_, fault_switch_ohms_);
  network_.isolator = closed(switches.isolator, isolator_ohms_);
  network_.through = closed(straight_ || (switches.bypass && has_bypass_), bypass_ohms_);
  network_.output = closed(!straight_ && switches.output, output_ohms_);
  network_.pull_up = network_.pull_down = std::nullopt;
  if (load_closed_ && pull_up_) network_.pull_up = *pull_up_ + load_ohms_;
  if (load_closed_ && pull_down_) network_.pull_down = *pull_down_ + load_ohms_;
  network_.loop_back = closed(switches.loop_back, loop_back_ohms_);
  solved_ = solve(network_);
  net_.mix(sense_in(), source_side_sense_ ? solved_.source_side : solved_.bench_in);
  net_.mix(sense_out(), solved_.bench_out);
  net_.changed();
}

}  // namespace drivers::emulated
