#include "rig/compile/fault_plan.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include "rig/compile/fault_matrix.hpp"
#include "rig/compile/sweep_points.hpp"

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kLead = 20ms;    ///< before the fault: what it is compared with
constexpr Nanoseconds kStay = 40ms;    ///< a reaction must stay complete for this long beyond its deadline
constexpr Nanoseconds kAfter = 60ms;   ///< ... and a recovery
constexpr Nanoseconds kMargin = 10ms;  ///< of the close look on either side of the fault
constexpr Nanoseconds kBin = 1ms;
constexpr Volts kBeyond{0.15};           ///< a sensor out of its range: so far beyond its diagnostic rail
constexpr Nanoseconds kLatchedFor = 1s;  ///< a latch must hold for so long at least, and longer than any recovery takes

/// Windows begin and end with the bins.
Nanoseconds whole_bins(Nanoseconds time) { return (time + kBin - Nanoseconds{1}) / kBin * kBin; }

bool is_power(const FaultCase& one) {
  return one.pin.side == ConnectorSide::controller && (one.pin.carries == "battery" || one.pin.carries == "ground");
}

/// Collects what a fault does to a wire.
class Switching {
 public:
  Switching(const BenchSetup& bench, FaultPorts& ports) : wiring_{bench.wiring}, ports_{ports} {}

  void break_wire(const FaultPin& pin) {
    if (const auto relay = break_of(wiring_, pin.carries, pin.side))
      ports_.come.push_back({*relay, false}), ports_.go.push_back({*relay, true});
    else
      missing("no relay that breaks this wire on this side");
  }
  void wear(const FaultPin& pin) {
    const auto* switches = wiring_.faults.wire(pin.carries, pin.side);
    if (!switches || !switches->worn) return missing("no resistance to put in this wire's place");
    hold(switches->worn->relay);
    break_wire(pin);
  }
  void join(const FaultPin& pin) {
    if (const auto relay = to_bus(pin))
      ports_.come.push_back({*relay, true}), ports_.go.push_back({*relay, false});
    else
      missing(fmt::format("no relay that joins {} to the fault bus on this side", pin.carries));
  }
  void hold_on_bus(const FaultPin& pin) {
    if (const auto relay = to_bus(pin))
      hold(*relay);
    else
      missing(fmt::format("no relay that joins {} to the fault bus on this side", pin.carries));
  }
  /// The bus is tied before the wire is joined to it, so that only one contact bounces.
  void tie(const std::optional<FaultBus::Tie>& tie, std::string_view what) {
    if (tie)
      hold(tie->relay);
    else
      missing(fmt::format("no relay that ties the fault bus to {}", what));
  }
  void draw(const FaultPin& pin, const std::optional<FaultBus::Tie>& bias, std::string_view what) {
    tie(bias, what);
    join(pin);
  }
  void missing(std::string what) {
    if (ports_.missing.empty()) ports_.missing = std::move(what);
  }

 private:
  std::optional<PortId> to_bus(const FaultPin& pin) const {
    const auto* switches = wiring_.faults.wire(pin.carries, pin.side);
    return switches ? switches->to_bus : std::nullopt;
  }
  void hold(PortId relay) { ports_.prepare.push_back({relay, true}), ports_.restore.push_back({relay, false}); }

  const Wiring& wiring_;
  FaultPorts& ports_;
};

bool is_ground(const FaultPin& pin) { return pin.carries == "ground" || pin.carries == "sensor_ground"; }

void write_switching(const Product& product, const BenchSetup& bench, const FaultCase& one, Switching& switching) {
  const auto& bus = bench.wiring.faults;
  switch (one.kind) {
    case FaultKind::open:
      if (!sensors_behind(product, one).empty()) return;
      switching.break_wire(one.pin);
      if (one.end == OpenEnd::up) switching.draw(one.pin, bus.bias_up, "a 5 V rail through a large resistance");
      if (one.end == OpenEnd::down) switching.draw(one.pin, bus.bias_down, "ground through a large resistance");
      return;
    case FaultKind::short_to_ground:
      switching.tie(bus.ground, "ground");
      return switching.join(one.pin);
    case FaultKind::short_to_reference:
      switching.tie(bus.reference, "a 5 V rail");
      return switching.join(one.pin);
    case FaultKind::short_to_battery:
      switching.tie(bus.battery, "the battery");
      return switching.join(one.pin);
    case FaultKind::joined: {
      const bool first = is_ground(one.pin);
      const auto& moved = first ? *one.joined_to : one.pin;
      const auto& held = first ? one.pin : *one.joined_to;
      if (is_ground(held))
        switching.tie(bus.ground, "ground");
      else
        switching.hold_on_bus(held);
      return switching.join(moved);
    }
    case FaultKind::worn:
      return switching.wear(one.pin);
    case FaultKind::intermittent:
      return switching.break_wire(one.pin);
    case FaultKind::hang:
      if (!bench.wiring.service) switching.missing("no port for the module's service line");
      return;
    default:
      return;  // the sources do it
  }
}

/// Sources and senses that a fault drives to their limits, as it must.
void write_expected(const Product& product, const BenchSetup& bench, const FaultCase& one, FaultPorts& ports) {
  const auto expect = [&](const std::optional<PortId>& port) {
    if (port) ports.expected.push_back(*port);
  };
  const auto of_wire = [&](const FaultPin& pin) {
    if (const auto* line = bench.wiring.line(pin.carries))
      for (const auto port : {line->source, line->sense_in, line->sense_out}) expect(port);
    if (const auto* rail = bench.wiring.rail(pin.carries))
      for (const auto port : {rail->source, rail->sense_controller, rail->sense_sensor}) expect(port);
    if (pin.carries == "speed")
      for (const auto& port : {bench.wiring.speed.sense_in, bench.wiring.speed.sense_out}) expect(port);
    if (pin.carries == "battery" || pin.carries == "ground") expect(bench.wiring.ground.sense);
  };
  const bool joins = one.kind == FaultKind::short_to_ground || one.kind == FaultKind::short_to_reference ||
                     one.kind == FaultKind::short_to_battery || one.kind == FaultKind::joined;
  if (joins || one.pin.carries == "ground" || one.pin.carries == "battery") of_wire(one.pin);
  if (one.joined_to) of_wire(*one.joined_to);
  if (one.kind == FaultKind::short_to_reference)
    if (const auto* rail = bench.wiring.rail(product.rails.front().name)) expect(rail->source);
}

}  // namespace

FaultPorts ports_of(const Product& product, const BenchSetup& bench, const FaultCase& one) {
  FaultPorts ports;
  Switching switching{bench, ports};
  write_switching(product, bench, one, switching);
  write_expected(product, bench, one, ports);
  return ports;
}

FaultTimes times_of(const Product& product, const BenchSetup& bench, const FaultCase& one) {
  FaultTimes times;
  for (const auto& ports = ports_of(product, bench, one); const auto& change : ports.come)
    times.travel = std::max(times.travel, bench.ports[index(change.relay)].travel);
  const auto& owed = one.owed;
  const auto slowest = one.during ? std::min(one.at.speed, one.during->to.speed) : one.at.speed;
  const auto interval = longest_interval(product.speed.wheel, slowest);
  times.deadline =
      owed.deadline.time + Nanoseconds{std::llround(owed.deadline.intervals * static_cast<double>(interval.count()))};
  times.first = times.on = kLead;
  // A program that has been made to stand still comes back by itself: it is looked at for as long as it owes to be
  // away.
  auto length = times.travel + times.deadline + kStay;
  if (one.lasts && one.kind != FaultKind::hang) length = *one.lasts;
  if (one.kind == FaultKind::intermittent) {
    times.on = times.first + (one.bursts - 1) * (one.open_for + one.made_for);
    length = one.open_for;
  }
  if (one.during) times.on = times.first = kLead + std::max(Nanoseconds{0}, (one.during->over - length) / 2);
  times.on = whole_bins(times.on), times.first = whole_bins(times.first);
  times.off = whole_bins(times.on + length);
  auto watched = owed.recovery.how == Recovering::by_itself ? owed.recovery.within : Nanoseconds{0};
  if (owed.recovery.how == Recovering::latched) {
    watched = kLatchedFor;
    for (const auto& rule : product.reactions)
      if (rule.recovery.how == Recovering::by_itself) watched = std::max(watched, rule.recovery.within);
  }
  times.end = times.off + times.travel + watched + kAfter;
  if (one.during) times.end = std::max(times.end, kLead + one.during->over + kAfter);
  times.window_from = times.on - kMargin;
  times.window_to = whole_bins(times.off + times.travel + kMargin);
  return times;
}

Rpm fastest_of(const FaultCase& one, const Product& product) {
  auto fastest = one.at.speed;
  if (one.kind == FaultKind::doubled_edges) fastest = one.at.speed * 2;
  if (one.kind == FaultKind::over_speed) fastest = product.speed.highest;
  if (one.moves_to) fastest = std::max(fastest, one.moves_to->speed);
  if (one.during) fastest = std::max(fastest, one.during->to.speed);
  return fastest;
}

Rpm fastest_of(const FaultSpec& spec, const Product& product) {
  Rpm fastest{0};
  for (const auto& one : spec.cases) fastest = std::max(fastest, fastest_of(one, product));
  return fastest;
}

std::vector<Kilopascals> pressures_at(const Product& product, const FaultPoint& point) {
  SweepSpec spec;
  spec.speeds = {point.speed};
  spec.pressures = {point.pressure};
  return sweep_points(product, spec).front().pressures;
}

bool cycles_power(const FaultCase& one) { return is_power(one) && one.pin.carries == "battery"; }

bool falls_back(const Product&, const FaultCase& one) {
  const auto leaves = [](const OutputReaction& output) {
    return output.must == OutputMust::pass_through || output.must == OutputMust::follow_fault;
  };
  // Without supply, speed or a running program the shift is away, and nothing is counted.
  if (is_power(one) || one.kind == FaultKind::hang || one.kind == FaultKind::lost_edges || one.pin.carries == "speed")
    return false;
  return leaves(one.owed.own) || leaves(one.owed.others);
}

namespace {

class Playing {
 public:
  Playing(const FaultCase& one, Celsius temperature, Script& script)
      : one_{one},
        intake_{temperature},
        product_{script.product()},
        bench_{script.bench()},
        times_{times_of(product_, bench_, one)},
        ports_{ports_of(product_, bench_, one)},
        script_{script} {}

  void write(std::vector<Segment>& into) {
    for (const auto& line : script_.tracks().fine)
      for (const auto track : {line.in, line.out}) {
        script_.after(times_.window_from);
        script_.record(track, times_.window_to - times_.window_from);
      }
    script_.after(0ms);
    flip(ports_.prepare);
    if (one_.during) start_transient();
    const int bursts = one_.kind == FaultKind::intermittent ? one_.bursts : 1;
    for (int burst = 0; burst < bursts; ++burst) {
      script_.after(times_.first + burst * (one_.open_for + one_.made_for));
      come();
      script_.after(burst + 1 < bursts ? times_.first + burst * (one_.open_for + one_.made_for) + one_.open_for
                                       : times_.off);
      go();
    }
    script_.after(times_.off + times_.travel + kMargin);
    flip(ports_.restore);
    script_.after(0ms);
    script_.hold(into, times_.end);
  }

 private:
  void flip(const std::vector<FaultPorts::Switch>& switches) {
    for (const auto& change : switches) script_.relay(change.relay, change.closed);
  }
  FaultPoint afterwards() const { return one_.during ? one_.during->to : one_.at; }

  void start_transient() {
    script_.after(kLead);
    const auto to = pressures_at(product_, one_.during->to);
    for (std::size_t c = 0; c < to.size(); ++c) script_.pressure_ramp(c, to[c], one_.during->over);
    script_.speed_ramp(one_.during->to.speed, one_.during->over);
  }

  void come() {
    flip(ports_.come);
    if (shorts_the_thermistor()) {  // it drives nothing: the source that stands for it must not fight the short
      temperature_ = product_.temperature->curve.volts(intake_, product_.rails[product_.temperature->rail].nominal);
      script_.output(bench_.wiring.line(product_.temperature->name)->source, HighImpedance{});
    }
    const auto sensors = sensors_behind(product_, one_);
    const auto here = pressures_at(product_, one_.at);
    switch (one_.kind) {
      case FaultKind::open:
        for (const auto sensor : sensors) set_sensor(sensor, is_ground(one_.pin));
        return;
      case FaultKind::out_of_range:
        return set_sensor(find_pressure(product_, one_.pin.carries).value_or(product_.pressures.size()),
                          one_.beyond == BeyondRail::high);
      case FaultKind::frozen:
        return move_others();
      case FaultKind::jump:
        return jump(*find_pressure(product_, one_.pin.carries), here);
      case FaultKind::disagree:
        return jump(1 - index_pressure(product_), here);
      case FaultKind::lost_edges:
        return script_.speed(Rpm{0});
      case FaultKind::doubled_edges:
        return script_.speed(one_.at.speed * 2);
      case FaultKind::over_speed:
        return script_.speed(product_.speed.highest);
      case FaultKind::hang:
        return script_.exchange(
            {*bench_.wiring.service, product_.service->hang, {}, 1, 5ms, 0, product_.service->baud});
      default:
        return;
    }
  }

  void go() {
    flip(ports_.go);
    const auto sensors = sensors_behind(product_, one_);
    const auto back = pressures_at(product_, afterwards());
    if (!sensors.empty() || one_.kind == FaultKind::out_of_range || one_.kind == FaultKind::jump ||
        one_.kind == FaultKind::disagree || one_.kind == FaultKind::frozen) {
      for (std::size_t c = 0; c < back.size(); ++c) script_.pressure(c, back[c]);
    }
    if (temperature_) script_.output(bench_.wiring.line(product_.temperature->name)->source, *temperature_);
    if (one_.kind == FaultKind::lost_edges || one_.kind == FaultKind::doubled_edges ||
        one_.kind == FaultKind::over_speed || one_.kind == FaultKind::frozen)
      script_.speed(afterwards().speed);
  }

  bool shorts_the_thermistor() const {
    const auto is_it = [&](const FaultPin& pin) {
      return product_.temperature && product_.temperature->name == pin.carries;
    };
    const bool shorted = one_.kind == FaultKind::short_to_ground || one_.kind == FaultKind::short_to_reference ||
                         one_.kind == FaultKind::short_to_battery;
    const bool touches = one_.joined_to && (is_it(one_.pin) || is_it(*one_.joined_to));
    return (shorted && is_it(one_.pin)) ||
           (touches && !find_pressure(product_, one_.pin.carries) && !find_pressure(product_, one_.joined_to->carries));
  }

  /// What a sensor without a supply, without a ground, or broken in itself gives.
  void set_sensor(std::size_t sensor, bool high) {
    if (sensor < product_.pressures.size()) {
      const auto& channel = product_.pressures[sensor];
      const bool itself = one_.kind == FaultKind::out_of_range;
      const auto rail = product_.rails[channel.rail].nominal;
      const auto level = high ? (itself ? std::min(rail, channel.rails.high + kBeyond) : rail)
                              : (itself ? std::max(Volts{0}, channel.rails.low - kBeyond) : Volts{0});
      return script_.source(sensor, level);
    }
    const auto& channel = *product_.temperature;
    temperature_ = channel.curve.volts(intake_, product_.rails[channel.rail].nominal);
    script_.output(bench_.wiring.line(channel.name)->source,
                   high ? OutputState{product_.rails[channel.rail].nominal} : OutputState{Volts{0}});
  }

  /// A jump stays inside what the sensor sees. Two pressures disagree when the one behind the throttle is the higher:
  /// the other way round the throttle is closed.
  void jump(std::size_t c, const std::vector<Kilopascals>& here) {
    const auto& channel = product_.pressures[c];
    if (one_.kind == FaultKind::disagree) return script_.pressure(c, here[1 - c] - one_.by);
    const auto up = here[c] + one_.by;
    script_.pressure(c, up <= channel.highest_input ? up : here[c] - one_.by);
  }

  void move_others() {
    const auto to = pressures_at(product_, *one_.moves_to);
    const auto stays = find_pressure(product_, one_.pin.carries);
    for (std::size_t c = 0; c < to.size(); ++c)
      if (c != stays) script_.pressure(c, to[c]);
    script_.speed(one_.moves_to->speed);
  }

  const FaultCase& one_;
  Celsius intake_;
  const Product& product_;
  const BenchSetup& bench_;
  FaultTimes times_;
  FaultPorts ports_;
  Script& script_;
  std::optional<Volts> temperature_;  ///< what its source goes back to, once it has been moved
};

}  // namespace

void play_fault(const FaultCase& one, Celsius temperature, std::vector<Segment>& into, Script& script) {
  Playing{one, temperature, script}.write(into);
}

}  // namespace rig
