#include "rig/compile/loading_plan.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

using namespace std::chrono_literals;

constexpr Nanoseconds kRelays = 10ms;  ///< relays travel and bounce at most 5 ms (common practice, no source)
constexpr Nanoseconds kDischarge = 50ms;
constexpr Nanoseconds kSteady = 20ms;
constexpr Celsius kAmbient{25};

bool has_battery(SupplyState s) { return s == SupplyState::battery_only || s == SupplyState::powered; }
bool has_rails(SupplyState s) { return s == SupplyState::rails_only || s == SupplyState::powered; }

class Writer {
 public:
  Writer(const LoadingSpec& spec, const std::vector<BenchLine>& lines, Script& script, std::vector<Segment>& segments)
      : spec_{spec}, lines_{lines}, script_{script}, segments_{segments} {}

  LoadingPlan write() {
    const auto& wiring = script_.bench().wiring;
    cool_down();
    script_.relay(wiring.loop_back, false);
    script_.relay(wiring.isolator, false);
    loads(false, false);
    sensor_loads(false);
    script_.hold(segments_, kDischarge);
    script_.rails(true);
    for (const auto pressure : spec_.pressures) plan_.isolated.push_back(look_at(pressure));

    cool_down();
    script_.relay(wiring.isolator, true);
    script_.hold(segments_, kDischarge);
    for (const auto state : spec_.states) write_state(state);
    write_bypassed();
    write_working();
    write_rails();
    restore();
    return std::move(plan_);
  }

 private:
  const Product& product() const { return script_.product(); }
  const RailWiring& rail(std::size_t i) const { return *script_.bench().wiring.rail(product().rails[i].name); }
  Kilopascals highest() const { return *std::max_element(spec_.pressures.begin(), spec_.pressures.end()); }

  void cool_down() {
    script_.sources(HighImpedance{});
    script_.battery(Grounded{});
    script_.rails(false);
    script_.speed(Rpm{0});
  }
  void loads(bool first, bool second) {
    for (const auto& line : lines_) {
      if (line.wiring->load) script_.relay(line.wiring->load->relay, first);
      if (line.wiring->second_load) script_.relay(line.wiring->second_load->relay, second);
    }
  }
  void sensor_loads(bool closed) {
    for (std::size_t i = 0; i < product().rails.size(); ++i)
      if (rail(i).sensor_load) script_.relay(rail(i).sensor_load->relay, closed);
  }
  void pressures(Kilopascals to) {
    for (std::size_t c = 0; c < product().pressures.size(); ++c) {
      const auto& channel = product().pressures[c];
      script_.pressure(c, std::clamp(to, channel.lowest_input, channel.highest_input));
    }
    script_.temperature(kAmbient);
  }
  std::size_t hold(Nanoseconds length) {
    script_.hold(segments_, length);
    return segments_.size() - 1;
  }
  LookAt look(Script::Wait wait = Script::Wait::inputs) {
    script_.settle(segments_, wait);
    const auto settle = segments_.size() - 1;
    return {settle, hold(kLoadingLook)};
  }
  LookAt look_at(Kilopascals pressure) {
    pressures(pressure);
    return look();
  }
  void supply(SupplyState state) {
    script_.battery(has_battery(state) ? OutputState{product().battery.nominal} : OutputState{Grounded{}});
    script_.rails(has_rails(state));
    if (state == SupplyState::powered) script_.speed(spec_.speed);
    pressures(spec_.pressures.front());
    hold(state == SupplyState::powered ? product().timing.boot : kDischarge);
  }

  void write_state(SupplyState state) {
    cool_down();
    loads(false, false);
    hold(kDischarge);
    supply(state);
    LoadingState written;
    written.state = state;
    for (const auto pressure : spec_.pressures) written.inputs.push_back(look_at(pressure));
    if (senses_speed_level(product(), script_.bench(), script_.tracks())) {
      const auto speed = slow_turning(product().speed.wheel);
      script_.speed(speed);
      written.speed = hold(kSteady + cycle_at(speed));
      script_.speed(Rpm{0});
    }
    if (!has_rails(state)) {
      script_.rails_open();
      sensor_loads(true);
      written.open_rails = hold(kRelays + kSteady + kLoadingLook);
      sensor_loads(false);
    }
    plan_.states.push_back(std::move(written));
  }

  void write_bypassed() {
    cool_down();
    loads(true, false);
    hold(kDischarge);
    plan_.bypass_light = lighter(Script::Wait::inputs);
    plan_.bypass_heavy = heavier(Script::Wait::inputs);
  }
  /// Into the first load; without any where the bench has no second one.
  LookAt lighter(Script::Wait wait) {
    for (const auto& line : lines_)
      if (!has_second_load(line) && line.wiring->load) script_.relay(line.wiring->load->relay, false);
    hold(kRelays);
    pressures(highest());
    return look(wait);
  }
  LookAt heavier(Script::Wait wait) {
    loads(true, true);
    hold(kRelays);
    return look(wait);
  }

  void write_working() {
    cool_down();
    loads(true, false);
    hold(kDischarge);
    supply(SupplyState::powered);
    plan_.light = lighter(Script::Wait::inputs_and_outputs);
    plan_.heavy = heavier(Script::Wait::inputs_and_outputs);
    for (std::size_t c = 0; c < product().pressures.size(); ++c) script_.source(c, Volts{0});
    plan_.low = look(Script::Wait::inputs_and_outputs);
    for (std::size_t c = 0; c < product().pressures.size(); ++c)
      script_.source(c, product().rails[product().pressures[c].rail].nominal);
    plan_.high = look(Script::Wait::inputs_and_outputs);
  }

  void write_rails() {
    loads(true, false);
    sensor_loads(true);
    pressures(highest());
    plan_.sensors = hold(kRelays + kSteady + kLoadingLook);
    for (std::size_t i = 0; i < product().rails.size(); ++i) {
      // Sensors without a supply put nothing out.
      for (const auto& line : lines_)
        if (line.rail == i) script_.output(line.wiring->source, HighImpedance{});
      script_.output(rail(i).source, HighImpedance{});
      plan_.cross.push_back(hold(kRelays + kSteady + kLoadingLook));
      script_.output(rail(i).source, product().rails[i].nominal);
      pressures(highest());
    }
  }

  void restore() {
    cool_down();
    loads(true, false);
    sensor_loads(false);
    hold(kDischarge);
  }

  const LoadingSpec& spec_;
  const std::vector<BenchLine>& lines_;
  Script& script_;
  std::vector<Segment>& segments_;
  LoadingPlan plan_;
};

}  // namespace

bool has_second_load(const BenchLine& line) { return line.wiring->second_load.has_value(); }

LoadingPlan write_loading(const LoadingSpec& spec, const std::vector<BenchLine>& lines, Script& script,
                          std::vector<Segment>& segments) {
  return Writer{spec, lines, script, segments}.write();
}

std::string_view to_text(SupplyState state) {
  switch (state) {
    case SupplyState::unpowered:
      return "unpowered";
    case SupplyState::battery_only:
      return "battery_only";
    case SupplyState::rails_only:
      return "rails_only";
    case SupplyState::powered:
      return "powered";
  }
  return "";
}

}  // namespace rig
