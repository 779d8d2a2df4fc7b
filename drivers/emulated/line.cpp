#include "drivers/emulated/line.hpp"

#include <algorithm>
#include <cmath>
#include <utility>

#include "drivers/emulated/contacts.hpp"
#include "drivers/emulated/instrument.hpp"

namespace drivers::emulated {
namespace {

double siemens(rig::Ohms impedance) { return impedance.value() > 0 ? 1 / impedance.value() : 0; }

double contact(const rig::BenchSetup& setup, const std::optional<rig::PortId>& relay) {
  return relay ? setup.ports[index(*relay)].resistance.value() : 0;
}

/// What the product says of the controller's input of a line; a pull-up may sit in the module instead.
rig::ControllerInput controller_input(const rig::Product& product, std::size_t number) {
  if (number < product.pressures.size()) return product.pressures[number].controller;
  const rig::TemperatureChannel& temperature = *product.temperature;
  if (temperature.pull_up_at == rig::PullUpPlace::module) return {};
  // Two pull-ups in parallel make up the curve's one.
  const double share = temperature.pull_up_at == rig::PullUpPlace::both ? 2 : 1;
  return {rig::Ohms{temperature.curve.pull_up.value() * share}, {}, {}};
}

/// The most that a mixture can come to, whatever drives it.
double largest(const Mixture& mixture) {
  constexpr double kMostVolts = 6, kMostBattery = 20, kMostAmperes = 3;
  double most = std::abs(mixture[kOne]) + kMostAmperes * std::abs(mixture[kCurrent]);
  for (std::size_t d = 0; d < kDrivers; ++d) {
    if (d == kOne || d == kCurrent) continue;
    most += (d == kBattery ? kMostBattery : kMostVolts) * std::abs(mixture[d]);
  }
  return most;
}

std::optional<double> closed(bool yes, double ohms) { return yes ? std::optional{ohms} : std::nullopt; }

}  // namespace

Line::Line(const rig::BenchSetup& setup, const rig::LineWiring& wiring, const rig::Product& product, std::size_t number,
           const UnitBuild& build, const std::vector<BenchTrouble>& troubles)
    : wiring_{&wiring} {
  const rig::Port& source = setup.ports[index(wiring.source)];
  const WireBuild& wire = build.wires[number];
  const double isolator = contact(setup, setup.wiring.isolator);
  contact_in_ohms_ = isolator + contact_ohms(setup, wiring.channel, PinSide::sensor, troubles);
  contact_out_ohms_ = isolator + contact_ohms(setup, wiring.channel, PinSide::controller, troubles) + wire.worn_ohms;
  network_.fault_switch = contact(setup, wiring.fault_switch);
  loop_back_ohms_ = contact(setup, setup.wiring.loop_back);
  source_leakage_ = draw_leakage(setup, wiring.source);
  port_limit_ = source.current_limit.value();
  sinks_ = source.sinks || source.kind == rig::PortKind::resistance_source;
  limit_source(0);
  network_.leakage = build.leakage[number];
  clamp_ohms_ = wire.clamp_ohms;
  through_ohms_ = wire.through_ohms;
  double output_filter = static_cast<double>(product.build.output_filter.count());
  if (number < product.pressures.size()) {
    const ChannelBuild& channel = build.channels[number];
    rail_ = product.pressures[number].rail;
    source_ohms_ = product.pressures[number].source_resistance.value();
    has_bypass_ = channel.has_bypass;
    output_ohms_ = channel.output_ohms;
    output_filter = channel.output_filter_ns;
  } else {
    const rig::TemperatureChannel& temperature = *product.temperature;
    rail_ = temperature.rail;
    source_ohms_ = source.resistance.value();
    straight_ = temperature.routing != rig::TemperatureRouting::redriven;
    output_ohms_ = product.build.output_resistance.value();
    if (temperature.pull_up_at != rig::PullUpPlace::controller && !product.straight_through) {
      network_.module_pull_up =
          temperature.curve.pull_up.value() * (temperature.pull_up_at == rig::PullUpPlace::both ? 2 : 1);
    }
  }
  straight_ = straight_ || product.straight_through;
  if (straight_) has_bypass_ = !wire.open;
  fit_loads(setup, product, number);
  net_.set_tau(kSource, source_tau(setup, wiring.source, troubles));
  net_.set_tau(kOutput, output_filter);
  fit_senses(setup, troubles);
}

void Line::fit_loads(const rig::BenchSetup& setup, const rig::Product& product, std::size_t number) {
  const rig::ControllerInput own = controller_input(product, number);
  loads_[0].closed = !wiring_->load;
  for (const bool second : {false, true}) {
    const std::optional<rig::Load>& load = second ? wiring_->second_load : wiring_->load;
    if (second && !load) continue;
    const bool stated = load && (load->is.pull_up || load->is.pull_down);
    const rig::ControllerInput& is = stated ? load->is : own;
    LoadSwitch& made = loads_[second ? 1 : 0];
    if (load) made.relay = load->relay;
    const auto resistor = [&](const std::optional<rig::Ohms>& nominal, std::uint64_t which) -> std::optional<double> {
      if (!nominal) return std::nullopt;
      if (!load) return nominal->value();
      return load_ohms(setup, *load, nominal->value(), 2 * number + which) + contact(setup, load->relay);
    };
    made.pull_up = resistor(is.pull_up, 0);
    made.pull_down = resistor(is.pull_down, 1);
  }
}

void Line::fit_senses(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles) {
  const rig::Port& in = setup.ports[index(wiring_->sense_in)];
  const rig::Port& out = setup.ports[index(wiring_->sense_out)];
  source_side_sense_ = !in.module_side_of_fault_switch;
  if (!is_opened(setup, wiring_->sense_in, troubles)) {
    (source_side_sense_ ? network_.source_side_load : network_.sense_in_load) = siemens(in.resistance);
    (source_side_sense_ ? network_.source_side_leakage : network_.sense_in_leakage) =
        draw_leakage(setup, wiring_->sense_in);
  }
  if (!is_opened(setup, wiring_->sense_out, troubles)) {
    network_.sense_out_load = siemens(out.resistance);
    network_.sense_out_leakage = draw_leakage(setup, wiring_->sense_out);
  }
  net_.add_sense(static_cast<double>(in.settling.count()), {});
  net_.add_sense(static_cast<double>(out.settling.count()), {});
}

void Line::limit_source(double amperes) {
  limit_.most_gives = port_limit_ > 0 && amperes > 0 ? std::min(port_limit_, amperes) : std::max(port_limit_, amperes);
  limit_.most_takes = sinks_ ? limit_.most_gives : 0;
}

void Line::set_wires(const FaultBus& faults) {
  network_.fault_switch = faults.wire(wiring_->channel, rig::ConnectorSide::sensor);
  network_.wire_out = faults.wire(wiring_->channel, rig::ConnectorSide::controller);
}

bool Line::set_load(rig::PortId relay, bool to) {
  bool any = false;
  for (LoadSwitch& load : loads_) {
    if (load.relay != relay) continue;
    load.closed = to;
    any = true;
  }
  return any;
}

void Line::set_surroundings(const Surroundings& surroundings) {
  network_.rail = surroundings.rail;
  network_.module_rail = surroundings.module_rail;
  network_.ground = surroundings.ground;
}

void Line::rebuild(const Switches& switches) {
  network_.source = closed(driven_, source_ohms_);
  network_.source_leakage = driven_ ? 0 : source_leakage_;
  network_.contact_in = closed(switches.isolator, contact_in_ohms_);
  network_.contact_out = closed(switches.isolator, contact_out_ohms_);
  network_.through = closed((straight_ || switches.bypass) && has_bypass_, through_ohms_);
  network_.output = closed(!straight_ && switches.output, output_ohms_);
  const auto pull = [](const LoadSwitch& load, const std::optional<double>& ohms) {
    return load.closed ? ohms : std::nullopt;
  };
  network_.pull_up = pull(loads_[0], loads_[0].pull_up);
  network_.pull_down = pull(loads_[0], loads_[0].pull_down);
  network_.second_pull_up = pull(loads_[1], loads_[1].pull_up);
  network_.second_pull_down = pull(loads_[1], loads_[1].pull_down);
  network_.loop_back = closed(switches.loop_back, loop_back_ohms_);
  if (!driven_) limit_.set(CurrentLimit::State::none, sinks_, net_.now());
  choose_pieces();
  if (joiner_) {
    joiner_->solve_together();
  } else {
    solve_alone();
    find_pieces();
  }
}

void Line::changed() {
  net_.changed();
  find_pieces();
}

void Line::join(Joiner* joiner) {
  joiner_ = joiner;
  net_.set_moving(joiner ? kMovingDrivers : kLineDrivers);
}

void Line::take(const SolvedLine& solved, const Mixture& ground) {
  solved_ = solved;
  pin_ = sum(solved_.module_in, ground, -1);
  show();
}

void Line::choose_pieces() {
  network_.clamp_high = clamp_ == Clamp::high ? clamp_ohms_ : std::nullopt;
  network_.clamp_low = clamp_ == Clamp::low ? clamp_ohms_ : std::nullopt;
  network_.source_limited = limit_.reached() ? std::optional{limit_.amperes()} : std::nullopt;
}

void Line::solve_alone() { take(solve(network_), network_.ground); }

void Line::show() {
  net_.mix(sense_in(), source_side_sense_ ? solved_.source_side : solved_.bench_in);
  net_.mix(sense_out(), solved_.bench_out);
  net_.changed();
  net_.guard(make_guards(), this);
}

/// Where the present piece ends. Lines on which neither a diode nor the limit can come into play have none.
std::vector<Guard> Line::make_guards() {
  std::vector<Guard> guards;
  const auto opposite = [](const Guard& guard) { return Guard{sum({}, guard.weights, -1), -guard.level}; };
  if (clamp_ohms_) {
    const Guard high{sum(pin_, only(kInside), -1), kDiode}, low{sum({}, pin_, -1), kDiode};
    if (clamp_ != Clamp::low) guards.push_back(clamp_ == Clamp::high ? opposite(high) : high);
    if (clamp_ != Clamp::high) guards.push_back(clamp_ == Clamp::low ? opposite(low) : low);
  }
  if (driven_ && limit_.most_gives > 0) {
    Mixture amperes = sum(only(kSource), solved_.source_side, -1);
    for (double& weight : amperes) weight /= std::max(source_ohms_, 0.001);
    const Guard gives{amperes, limit_.most_gives}, takes{sum({}, amperes, -1), limit_.most_takes};
    if (!limit_.reached()) {
      const double most = largest(amperes);
      if (most > limit_.most_gives) guards.push_back(gives);
      if (most > limit_.most_takes) guards.push_back(takes);
    } else {
      guards.push_back(opposite(limit_.state() == CurrentLimit::State::gives ? gives : takes));
    }
  }
  return guards;
}

bool Line::change_piece() {
  const std::vector<Guard>& guards = net_.guards();
  std::size_t passed = 0;
  while (passed < guards.size() && !(net_.above(guards[passed]) > 0)) ++passed;
  if (passed == guards.size()) return false;
  const std::size_t of_clamp = !clamp_ohms_ ? 0 : clamp_ == Clamp::none ? 2 : 1;
  if (passed < of_clamp) {
    clamp_ = clamp_ != Clamp::none ? Clamp::none : passed == 0 ? Clamp::high : Clamp::low;
  } else {
    using State = CurrentLimit::State;
    const State next = limit_.reached()                      ? State::none
                       : guards[passed].weights[kSource] > 0 ? State::gives
                                                             : State::takes;
    limit_.set(next, sinks_, net_.now());
  }
  choose_pieces();
  return true;
}

/// Goes over to other pieces until the line is within the one it is said to be in.
void Line::find_pieces() {
  if (joiner_) return joiner_->find_pieces_together();
  constexpr int kMostChanges = 8;  // each of diode and limit may change twice before all fits; beyond that it is noise
  for (int change = 0; change < kMostChanges && net_.guarded() && change_piece(); ++change) solve_alone();
}

double Line::module_pin(std::int64_t at) {
  if (net_.guarded()) net_.advance(at);
  return net_.at_pin(pin_, at);
}

double Line::feeds_rail() const {
  double amperes = 0;
  for (std::size_t d = 0; d < kDrivers; ++d) {
    const Drive& drive = net_.drive(static_cast<Driver>(d));
    amperes += solved_.feeds_rail[d] * drive.level;
  }
  return amperes;
}

double Line::feeds_rail_rise() const {
  double amperes = 0;
  for (std::size_t d = 0; d < kMovingDrivers; ++d) {
    amperes += solved_.feeds_rail[d] * net_.drive(static_cast<Driver>(d)).slope;
  }
  return amperes;
}

}  // namespace drivers::emulated
