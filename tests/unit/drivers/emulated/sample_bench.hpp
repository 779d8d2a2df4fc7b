#pragma once

#include <algorithm>
#include <chrono>
#include <cmath>
#include <memory>
#include <string>
#include <utility>
#include <vector>

#include "drivers/emulated/emulated_bench.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"
#include "rig/core/recording.hpp"
#include "rig/core/timeline.hpp"

/// An invented product and bench in code, and a short way to write timelines for them.
namespace sample {

using namespace std::chrono_literals;

inline rig::PortId port(int number) { return static_cast<rig::PortId>(number); }
inline rig::TrackId track(std::size_t number) { return static_cast<rig::TrackId>(number); }

/// Shift in kPa at a breakpoint: grows with load and fills out from 1500 to 2500 rpm, gone at the limiter.
inline double shift_at(double rpm, double kpa) {
  const double load = std::clamp((kpa - 110) / 90, 0.0, 1.0);
  const double speed = std::clamp((rpm - 1500) / 1000, 0.0, 1.0) * (rpm > 6500 ? 0.0 : 1.0);
  return std::round(260 * load * speed * (1 - 0.1 * std::abs(rpm - 4000) / 4000)) / 10;
}

inline std::vector<double> speeds() { return {500, 1000, 1500, 2000, 2500, 3000, 3500, 4000, 4750, 5500, 6500, 7000}; }
inline std::vector<double> pressures() { return {40, 70, 100, 110, 120, 130, 140, 155, 170, 185, 200, 220}; }

/// Two pressures with unlike curves, a temperature that goes straight through, a four-lobe cam.
inline rig::Product product() {
  std::vector<double> cells;
  for (double rpm : speeds()) {
    for (double kpa : pressures()) cells.push_back(shift_at(rpm, kpa));
  }
  const rig::Table shift = std::get<rig::Table>(rig::Table::make({speeds(), pressures()}, cells));
  const rig::Table derate = std::get<rig::Table>(rig::Table::make({{-40, 60, 90, 120}}, {1, 1, 0.5, 0}));
  const rig::PressureCurve curve{{{rig::Kilopascals{20}, rig::Volts{0.5}}, {rig::Kilopascals{250}, rig::Volts{4.5}}}};
  const auto channel = [&](std::string name, bool pull_up) {
    rig::PressureChannel c{std::move(name), curve, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}, {}};
    c.lowest_input = rig::Kilopascals{20}, c.highest_input = rig::Kilopascals{250};
    c.lowest_reported = rig::Kilopascals{15}, c.highest_reported = rig::Kilopascals{250};
    c.source_resistance = rig::Ohms{1000};
    (pull_up ? c.controller.pull_up : c.controller.pull_down) = rig::Ohms{47e3};
    c.shift = rig::Shift{0, 1, 1};
    return c;
  };
  const auto lobe = [](double low, double high) {
    return rig::Wheel::Lobe{rig::CrankDegrees{low}, rig::CrankDegrees{high}};
  };
  const rig::Wheel cam = rig::Wheel::lobes({lobe(40, 140), lobe(100, 80), lobe(40, 140), lobe(100, 80)});
  rig::Product p{
      "sample-two-pressure", "Sample", "", {{"shift", shift}, {"derate", derate}}, {cam}, {}, {}, {}, {}, {}, {}, {}};
  p.pressures = {channel("charge_pressure", true), channel("manifold_pressure", false)};
  const rig::BetaModel thermistor{rig::Ohms{2000}, rig::Celsius{25}, rig::Kelvins{3500}};
  p.temperature = rig::TemperatureChannel{
      "intake_temperature", {thermistor, rig::Ohms{2200}}, rig::Celsius{-40}, rig::Celsius{130}};
  p.rails = {{"rail_5v", rig::Volts{5}, rig::Volts{4.5}, rig::Volts{5.5}}};
  p.bypass_request = rig::BypassRequest{"bypass_request"};
  return p;
}

/// Ports of bench().
enum P {
  charge_source,
  manifold_source,
  temperature_source,
  battery,
  rail,
  speed_source,
  charge_in,
  charge_out,
  manifold_in,
  manifold_out,
  temperature_in,
  temperature_out,
  rail_controller,
  rail_sensor,
  battery_sense,
  battery_current,
  edges_in,
  edges_out,
  standard,
  charge_switch,
  manifold_switch,
  load,
  isolator,
  loop_back,
  bypass_request
};

inline rig::BenchSetup bench(bool perfect = true) {
  rig::BenchSetup setup;
  setup.name = "sample bench";
  setup.driver = "emulated";
  setup.perfect = perfect;
  const auto add = [&](std::string name, rig::PortKind kind, double low, double high, double resolution) -> rig::Port& {
    rig::Port p;
    p.name = std::move(name), p.kind = kind, p.low = low, p.high = high, p.resolution = resolution;
    setup.ports.push_back(p);
    return setup.ports.back();
  };
  const auto source = [&](std::string name, rig::PortKind kind, double high) {
    rig::Port& p = add(std::move(name), kind, 0, high, 0.0001);
    p.accuracy = {0.002, 0.0005};
    p.settling = 100us;
    p.resistance = rig::Ohms{kind == rig::PortKind::supply ? 0.05 : 10};
  };
  const auto sense = [&](std::string name, rig::PortKind kind, double low, double high, double resolution) {
    rig::Port& p = add(std::move(name), kind, low, high, resolution);
    p.accuracy = {0.001, 0.0005};
    p.settling = 50us;
    p.shortest_period = 10us;
    p.resistance = rig::Ohms{kind == rig::PortKind::current_sense ? 0 : 10e6};
  };
  for (const char* name : {"charge_source", "manifold_source", "temperature_source"}) {
    source(name, rig::PortKind::voltage_source, 5.5);
  }
  source("battery", rig::PortKind::supply, 20);
  source("rail", rig::PortKind::supply, 5.5);
  add("speed", rig::PortKind::pulse_source, 0, 9000, 0);
  for (const char* name : {"charge_in", "charge_out", "manifold_in", "manifold_out", "temperature_in",
                           "temperature_out", "rail_controller", "rail_sensor"}) {
    sense(name, rig::PortKind::voltage_sense, -0.5, 6, 0.0002);
  }
  sense("battery_sense", rig::PortKind::voltage_sense, -0.5, 20, 0.001);
  sense("battery_current", rig::PortKind::current_sense, -0.1, 2, 0.0001);
  add("edges_in", rig::PortKind::edge_sense, 0, 5, 0);
  add("edges_out", rig::PortKind::edge_sense, 0, 5, 0);
  sense("standard", rig::PortKind::voltage_sense, -0.5, 6, 0.0002);
  for (const char* name : {"charge_switch", "manifold_switch", "load", "isolator", "loop_back", "bypass_request"}) {
    rig::Port& p = add(name, rig::PortKind::relay, 0, 1, 0);
    p.travel = 5ms;
    p.resistance = rig::Ohms{0.1};
  }
  setup.calibration.resize(setup.ports.size());
  rig::Wiring& w = setup.wiring;
  w.lines = {{"charge_pressure",
              port(charge_source),
              port(charge_in),
              port(charge_out),
              port(charge_switch),
              rig::Load{port(load), {}},
              {}},
             {"manifold_pressure",
              port(manifold_source),
              port(manifold_in),
              port(manifold_out),
              port(manifold_switch),
              rig::Load{port(load), {}},
              {}},
             {"intake_temperature", port(temperature_source), port(temperature_in), port(temperature_out), {}, {}}};
  w.speed = {port(speed_source), port(edges_in), port(edges_out), {}};
  w.rails = {{"rail_5v", port(rail), port(rail_controller), port(rail_sensor)}};
  w.battery = port(battery), w.battery_sense = port(battery_sense), w.battery_current = port(battery_current);
  w.bypass_request = port(bypass_request), w.isolator = port(isolator), w.loop_back = port(loop_back);
  w.check_standard = port(standard);
  return setup;
}

/// Envelopes of every analogue sense in 1 ms bins, then both edge captures; every output limited to its range.
inline drivers::SessionPlan plan(const rig::BenchSetup& setup) {
  drivers::SessionPlan plan;
  for (std::size_t i = 0; i < setup.ports.size(); ++i) {
    const rig::Port& p = setup.ports[i];
    const rig::PortId id = port(static_cast<int>(i));
    const bool analogue = p.kind == rig::PortKind::voltage_sense || p.kind == rig::PortKind::current_sense ||
                          p.kind == rig::PortKind::temperature_sense;
    if (analogue) plan.capture.tracks.push_back({id, rig::CaptureKind::envelope, 1ms, true, {}});
    if (p.kind == rig::PortKind::edge_sense)
      plan.capture.tracks.push_back({id, rig::CaptureKind::edges, 1ms, true, {}});
    if (p.high > p.low) plan.limits.push_back({id, p.low, p.high, {}, 0});
  }
  return plan;
}

/// Which track of plan() a sense's is.
inline std::size_t track_of(P sense) { return static_cast<std::size_t>(sense - charge_in); }

/// Writes segments: what is set takes effect at the next segment's start.
class Script {
 public:
  Script& set(P what, double volts) { return add(rig::SetOutput{port(what), rig::Volts{volts}}); }
  Script& open(P what) { return add(rig::SetOutput{port(what), rig::HighImpedance{}}); }
  Script& ground(P what) { return add(rig::SetOutput{port(what), rig::Grounded{}}); }
  Script& relay(P what, bool closed) { return add(rig::SetRelay{port(what), closed}); }
  Script& rpm(double speed) {
    return add(rig::SetSpeed{port(speed_source), {static_cast<std::int32_t>(std::lround(speed * 1000)), 0, {}}});
  }
  Script& kpa(P what, double pressure) { return set(what, 0.5 + (pressure - 20) * 4 / 230); }
  Script& celsius(double temperature) {
    const rig::Product p = product();
    return set(temperature_source, p.temperature->curve.volts(rig::Celsius{temperature}, rig::Volts{5}).value());
  }
  Script& add(rig::Action action) {
    events_.push_back({0ms, std::move(action)});
    return *this;
  }
  Script& hold(rig::Nanoseconds length) { return push(length); }
  Script& until_settled(std::vector<P> senses, rig::Nanoseconds not_before, rig::Nanoseconds time_out) {
    rig::Until until{{}, not_before, time_out};
    for (P sense : senses) until.conditions.push_back({track(track_of(sense)), 20ms, rig::Volts{0.004}, 10ms, true});
    return push(until);
  }
  /// Unit fitted, controller's load in, 13.8 V and 5 V on, room temperature; boots.
  Script& power_up() {
    relay(isolator, true).relay(load, true).hold(10ms);
    set(battery, 13.8).set(rail, 5).celsius(20);
    return *this;
  }
  std::vector<rig::Segment> segments;

 private:
  Script& push(std::variant<rig::Nanoseconds, rig::Until> end) {
    segments.push_back(
        {static_cast<std::uint32_t>(segments.size() + 1), std::exchange(events_, {}), {}, std::move(end)});
    return *this;
  }
  std::vector<rig::Event> events_;
};

/// Opens, appends, reads to the end and closes, as drivers::play does.
inline drivers::Played play(drivers::Bench& bench, const drivers::SessionPlan& plan,
                            const std::vector<rig::Segment>& segments) {
  const auto session = bench.open(plan);
  drivers::Played played;
  played.tracks = session->tracks();
  rig::Slicer slicer{played.tracks, bench.capabilities().tick_rate};
  session->append(segments);
  session->finish();
  rig::Chunk chunk;
  while (session->next(chunk) != drivers::Progress::ended) {
    for (rig::Slice& slice : slicer.take(chunk)) played.slices.push_back(std::move(slice));
  }
  played.end = session->close();
  return played;
}

/// Plays a script on one unit.
struct Bench {
  explicit Bench(std::vector<drivers::Defect> defects = {}, rig::BenchSetup with = bench(), bool nominal = true,
                 std::vector<drivers::BenchTrouble> troubles = {}, std::shared_ptr<const rig::Product> fitted = nullptr)
      : setup{std::move(with)},
        product{fitted ? fitted : std::make_shared<const rig::Product>(sample::product())},
        driver{drivers::open_emulated(setup, product, {"A00001", std::move(defects), nominal}, std::move(troubles))} {}
  drivers::Played play(const Script& script) { return sample::play(*driver, plan(setup), script.segments); }
  rig::BenchSetup setup;
  std::shared_ptr<const rig::Product> product;
  std::unique_ptr<drivers::Bench> driver;
};

inline rig::EnvelopeBin bin(const drivers::Played& played, std::size_t slice, P sense, std::size_t which) {
  return rig::envelope_bin(played.tracks[track_of(sense)], played.slices[slice].tracks[track_of(sense)], which);
}
inline std::size_t bins(const drivers::Played& played, std::size_t slice) {
  return played.slices[slice].tracks[0].values.size() / 3;
}
/// Mean of the last bin of a slice (the last slice, when none is named).
inline double last(const drivers::Played& played, P sense, std::ptrdiff_t slice = -1) {
  const std::size_t s = slice < 0 ? played.slices.size() - 1 : static_cast<std::size_t>(slice);
  return bin(played, s, sense, bins(played, s) - 1).mean;
}
inline double to_kpa(double volts) { return 20 + (volts - 0.5) * 230 / 4; }

}  // namespace sample
