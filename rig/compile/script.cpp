#include "rig/compile/script.hpp"

#include <algorithm>
#include <cmath>
#include <numeric>
#include <utility>

#include "rig/core/tick_time.hpp"

namespace rig {

Nanoseconds longest_interval(const Wheel& wheel, Rpm speed) {
  if (speed <= Rpm{0}) return Nanoseconds{0};
  return Nanoseconds{std::llround(wheel.longest_falling_interval().value() / (6.0 * speed.value()) * 1e9)};
}

Script::Script(const Product& product, const BenchSetup& bench, const TrackMap& tracks, Nanoseconds grid,
               std::uint32_t tick_rate)
    : product_{&product},
      bench_{&bench},
      tracks_{&tracks},
      grid_{grid},
      tick_rate_{tick_rate},
      line_volts_(product.pressures.size() + 1, 0.0),
      rails_on_(product.rails.size(), false) {}

/// Levels are whole microvolts, as the wire carries them: every bench is asked for the very same.
void Script::add(Action action) {
  if (auto* set = std::get_if<SetOutput>(&action))
    if (auto* volts = std::get_if<Volts>(&set->to)) *volts = Volts{std::round(volts->value() * 1e6) / 1e6};
  events_.push_back({at_, std::move(action)});
  last_change_ = std::max(last_change_, at_);
}

void Script::note_jump(double volts_from, double volts_to) { jump_ = std::max(jump_, std::abs(volts_to - volts_from)); }

/// A module that gets its supply back starts anew: the promised time to start includes its ramp.
void Script::note_supply(char& present, bool on) {
  const bool back = on && !present;
  present = on;
  if (back) grows_for(product_->timing.boot);
}

/// From now on, where a module is under power at all.
void Script::grows_for(Nanoseconds duration) {
  const bool works = battery_on_ && std::all_of(rails_on_.begin(), rails_on_.end(), [](char on) { return on; });
  if (works) growing_until_ = std::max(growing_until_, at_ + duration);
}

bool Script::valid(std::size_t pressure, double volts) const {
  const auto& rails = product_->pressures[pressure].rails;
  return volts > rails.low.value() && volts < rails.high.value();
}

void Script::battery(OutputState to) {
  add(SetOutput{bench_->wiring.battery, to});
  note_jump(0, 5);
  const auto* volts = std::get_if<Volts>(&to);
  note_supply(battery_on_, volts && *volts >= product_->battery.lowest);
}

void Script::rails(bool on) {
  for (const auto& rail : product_->rails) {
    const auto* wiring = bench_->wiring.rail(rail.name);
    add(SetOutput{wiring->source, on ? OutputState{rail.nominal} : OutputState{Grounded{}}});
  }
  note_jump(0, 5);
  for (auto& present : rails_on_) note_supply(present, on);
}

void Script::rails_open() {
  for (const auto& rail : product_->rails) add(SetOutput{bench_->wiring.rail(rail.name)->source, HighImpedance{}});
  for (auto& present : rails_on_) note_supply(present, false);
}

void Script::sources(OutputState to) {
  for (std::size_t i = 0; i < product_->pressures.size(); ++i) source(i, to);
  if (product_->temperature) {
    add(SetOutput{bench_->wiring.line(product_->temperature->name)->source, to});
    line_volts_.back() = std::holds_alternative<Volts>(to) ? std::get<Volts>(to).value() : 0;
  }
}

void Script::source(std::size_t pressure, OutputState to) {
  add(SetOutput{bench_->wiring.line(product_->pressures[pressure].name)->source, to});
  const double volts = std::holds_alternative<Volts>(to) ? std::get<Volts>(to).value() : 0;
  note_jump(line_volts_[pressure], volts);
  if (valid(pressure, volts) && !valid(pressure, line_volts_[pressure])) grows_for(product_->timing.ramp_in);
  line_volts_[pressure] = volts;
}

void Script::pressure(std::size_t channel, Kilopascals to) {
  const auto& curve = product_->pressures[channel].curve;
  source(channel, curve.volts(to, product_->rails[product_->pressures[channel].rail].nominal));
}

void Script::temperature(Celsius to) {
  if (!product_->temperature) return;
  const auto& channel = *product_->temperature;
  const auto volts = channel.curve.volts(to, product_->rails[channel.rail].nominal);
  add(SetOutput{bench_->wiring.line(channel.name)->source, volts});
  note_jump(line_volts_.back(), volts.value());
  line_volts_.back() = volts.value();
}

void Script::speed(Rpm to) {
  add(SetSpeed{bench_->wiring.speed.source,
               SpeedPiece{static_cast<std::int32_t>(std::lround(to.value() * 1000)), 0, {}}});
  if (to == speed_) return;
  speed_before_ = speed_;
  speed_ = to;
  speed_changed_ = true;
  jump_ = std::max(jump_, 0.5);  // a change of the table's value: some 28 kPa
}

void Script::relay(std::optional<PortId> port, bool closed) {
  if (!port) return;
  add(SetRelay{*port, closed});
  // A line counts from where the contact has come to rest, not from the command.
  const auto travel = bench_->ports[index(*port)].travel;
  last_change_ = std::max(last_change_, at_ + travel);
  if (port == bench_->wiring.bypass_request && !closed) grows_for(travel + product_->timing.ramp_in);
  if (port == bench_->wiring.ground.break_relay && closed) grows_for(travel + product_->timing.boot);
}

void Script::output(std::optional<PortId> port, OutputState to) {
  if (port) add(SetOutput{*port, to});
}

void Script::exchange(Exchange conversation) { add(std::move(conversation)); }

void Script::battery_ramp(Volts to, Nanoseconds duration) {
  ramp(bench_->wiring.battery, to, duration);
  note_jump(0, 5);
  const auto start = std::exchange(at_, at_ + duration);
  note_supply(battery_on_, to >= product_->battery.lowest);
  at_ = start;
}

void Script::rail(std::size_t which, OutputState to) {
  add(SetOutput{bench_->wiring.rail(product_->rails[which].name)->source, to});
  note_jump(0, 5);
  const auto* volts = std::get_if<Volts>(&to);
  note_supply(rails_on_[which], volts && *volts >= product_->rails[which].lowest);
}

void Script::rail_ramp(std::size_t which, Volts to, Nanoseconds duration) {
  ramp(bench_->wiring.rail(product_->rails[which].name)->source, to, duration);
  note_jump(0, 5);
  const auto start = std::exchange(at_, at_ + duration);
  note_supply(rails_on_[which], to >= product_->rails[which].lowest);
  at_ = start;
}

void Script::source_ramp(std::size_t pressure, Volts to, Nanoseconds duration) {
  ramp(bench_->wiring.line(product_->pressures[pressure].name)->source, to, duration);
  note_jump(line_volts_[pressure], to.value());
  line_volts_[pressure] = to.value();
}

void Script::pressure_ramp(std::size_t channel, Kilopascals to, Nanoseconds duration) {
  const auto& curve = product_->pressures[channel].curve;
  source_ramp(channel, curve.volts(to, product_->rails[product_->pressures[channel].rail].nominal), duration);
}

void Script::temperature_ramp(Celsius to, Nanoseconds duration) {
  if (!product_->temperature) return;
  const auto& channel = *product_->temperature;
  temperature_source_ramp(channel.curve.volts(to, product_->rails[channel.rail].nominal), duration);
}

void Script::temperature_source_ramp(Volts to, Nanoseconds duration) {
  if (!product_->temperature) return;
  ramp(bench_->wiring.line(product_->temperature->name)->source, to, duration);
  note_jump(line_volts_.back(), to.value());
  line_volts_.back() = to.value();
}

void Script::ramp(PortId port, Volts to, Nanoseconds duration) {
  add(RampOutput{port, Volts{std::round(to.value() * 1e6) / 1e6}, duration});
  last_change_ = std::max(last_change_, at_ + duration);
}

void Script::speed_ramp(Rpm to, Nanoseconds duration) {
  const auto from = speed_;
  speed_piece(to, duration);
  speed_ = from;
  const auto start = std::exchange(at_, at_ + duration);
  speed(to);
  at_ = start;
}

void Script::speed_piece(Rpm to, Nanoseconds duration) {
  const auto from = static_cast<std::int32_t>(std::lround(speed_.value() * 1000));
  const auto rate = static_cast<std::int32_t>(std::lround((to.value() * 1000 - from) / seconds(duration)));
  add(SetSpeed{bench_->wiring.speed.source, SpeedPiece{from, rate, ticks_of(duration)}});
  speed_ = to;
}

std::uint64_t Script::ticks_of(Nanoseconds duration) const {
  return static_cast<std::uint64_t>(nearest_tick(BenchTime{duration}, tick_rate_));
}

void Script::record(TrackId track) { windows_.push_back({track, at_, {}}); }
void Script::record(TrackId track, Nanoseconds length) { windows_.push_back({track, at_, length}); }

Nanoseconds Script::grid_up(Nanoseconds d) const { return (d + grid_ - Nanoseconds{1}) / grid_ * grid_; }

/// The speed line as every step expects it: pulled down to ground, pulled up to the product's voltage.
void Script::rest_speed_line() {
  const auto& wiring = bench_->wiring.speed;
  if (wiring.pull_up_supply)
    events_.insert(events_.begin(), {Nanoseconds{0}, SetOutput{*wiring.pull_up_supply, product_->speed.pull_up_to}});
  if (wiring.foot) events_.insert(events_.begin(), {Nanoseconds{0}, SetOutput{*wiring.foot, Volts{0}}});
}

Segment& Script::push(std::vector<Segment>& into) {
  if (next_id_ == 1) rest_speed_line();
  auto& segment = into.emplace_back();
  segment.id = next_id_++;
  segment.events = std::move(events_);
  std::stable_sort(segment.events.begin(), segment.events.end(), [](auto& a, auto& b) { return a.at < b.at; });
  events_.clear();
  segment.windows = std::exchange(windows_, {});
  at_ = last_change_ = Nanoseconds{0};
  return segment;
}

void Script::hold(std::vector<Segment>& into, Nanoseconds length) {
  push(into).end = grid_up(length);
  bound_ += grid_up(length);
  growing_until_ = std::max(Nanoseconds{0}, growing_until_ - grid_up(length));
  jump_ = 0;
  speed_changed_ = false;
}

SettleCondition Script::condition(TrackId track, bool module_output) const {
  const auto& timing = product_->timing;
  return {track, timing.settle_window, timing.settle_span, timing.slowest, module_output};
}

Nanoseconds Script::speed_latency(Rpm from, Rpm to) const {
  // A new speed counts once the module has seen its intervals; standstill once it has missed as many at the old speed.
  const auto slower = to > Rpm{0} ? to : from;
  const double intervals = product_->timing.speed_intervals + (from > Rpm{0} && to > Rpm{0} ? 0.0 : 1.0);
  return Nanoseconds{
      std::llround(static_cast<double>(longest_interval(product_->speed.wheel, slower).count()) * intervals)};
}

void Script::settle(std::vector<Segment>& into, Wait wait) {
  const auto& timing = product_->timing;
  auto latency = std::max(last_change_, growing_until_) + timing.latency;
  if (speed_changed_) latency += speed_latency(speed_before_, speed_);
  // Two falling edges inside the segment, wherever the wheel stands, so that its speed can be measured.
  const auto two_edges = 2 * longest_interval(product_->speed.wheel, speed_);
  auto not_before = std::max(latency, two_edges > timing.settle_window ? two_edges - timing.settle_window : latency);
  not_before = grid_up(not_before);

  Until until;
  until.not_before = not_before;
  until.time_out = grid_up(not_before + 2 * timing.settle_limit + timing.settle_window);
  auto add_line = [&](const TrackMap::Line& line) {
    until.conditions.push_back(condition(line.in, false));
    if (wait == Wait::inputs_and_outputs) until.conditions.push_back(condition(line.out, true));
  };
  for (const auto& line : tracks_->pressures) add_line(line);
  if (tracks_->temperature) add_line(*tracks_->temperature);

  bound_ += std::max(not_before, last_change_ + latency_of_chain(latency - last_change_)) + timing.settle_window;
  push(into).end = std::move(until);
  growing_until_ = Nanoseconds{0};
  jump_ = 0;
  speed_changed_ = false;
}

/// How long the declared chain (source, the module's input filter, its sampling, its output filter) needs to come
/// within the settle span of this very jump: the slowest filter decays from the jump, the others add their time
/// constants.
Nanoseconds Script::latency_of_chain(Nanoseconds speed_latency) const {
  const auto& build = product_->build;
  std::vector<double> taus{seconds(build.input_filter), seconds(build.output_filter)};
  if (const auto* line = bench_->wiring.line(product_->pressures.front().name))
    taus.push_back(seconds(bench_->ports[index(line->source)].settling));
  const double slowest = *std::max_element(taus.begin(), taus.end());
  const double others = std::accumulate(taus.begin(), taus.end(), 0.0) - slowest;
  const double remaining = jump_ / product_->timing.settle_span.value();
  const double decay = remaining > 1 ? slowest * std::log(remaining) : 0;
  const auto before = speed_changed_ ? speed_latency - product_->timing.latency : Nanoseconds{0};
  return before + build.sample_period + Nanoseconds{std::llround((others + decay) * 1e9)};
}

Segment Script::alone(const Segment& segment, Rpm at_speed) const {
  Segment copy = segment;
  if (auto* until = std::get_if<Until>(&copy.end)) {
    const auto extra = grid_up(speed_latency(at_speed, at_speed));
    until->not_before += extra;
    until->time_out += extra;
  }
  return copy;
}

}  // namespace rig
