#pragma once

#include <memory>
#include <utility>
#include <vector>

#include "tests/unit/drivers/emulated/sample_bench.hpp"

/// The sample bench with everything that can be wired to a speed line.
namespace sample {

/// Ports behind those of bench().
enum S { foot = bypass_request + 1, speed_supply, speed_pull_up, speed_slow, speed_noise, speed_in, speed_out };

inline rig::BenchSetup speed_bench(bool perfect = true) {
  rig::BenchSetup setup = bench(perfect);
  const auto add = [&](std::string name, rig::PortKind kind, double high, double resolution) -> rig::Port& {
    rig::Port p;
    p.name = std::move(name), p.kind = kind, p.high = high, p.resolution = resolution;
    setup.ports.push_back(p);
    return setup.ports.back();
  };
  setup.ports[speed_source].resistance = rig::Ohms{24};
  for (const char* name : {"foot", "speed_supply"}) {
    rig::Port& p = add(name, rig::PortKind::voltage_source, 5.5, 0.001);
    p.resistance = rig::Ohms{1};
    p.sinks = true;
  }
  for (const char* name : {"pull_up", "slow", "noise"}) add(name, rig::PortKind::relay, 1, 0).travel = 2ms;
  for (const char* name : {"speed_in", "speed_out"}) {
    rig::Port& p = add(name, rig::PortKind::voltage_sense, 6, 0.0002);
    p.low = -0.5, p.settling = 2us, p.shortest_period = 10us, p.resistance = rig::Ohms{10e6};
  }
  setup.calibration.resize(setup.ports.size());
  rig::SpeedWiring& w = setup.wiring.speed;
  w.foot = port(foot), w.pull_up_supply = port(speed_supply), w.pull_up_switch = port(speed_pull_up);
  w.slow_edges = rig::SpeedWiring::SlowEdges{port(speed_slow), 60us};
  w.noise = rig::SpeedWiring::Noise{port(speed_noise), rig::Volts{0.15}, 20us};
  w.sense_in = port(speed_in), w.sense_out = port(speed_out);
  return setup;
}

/// A script for it.
class SpeedScript : public Script {
 public:
  /// Unit fitted and powered, both pressures at 200 kPa or so, the speed line at its usual levels, wheel turning.
  explicit SpeedScript(double rpm_now) {
    speed_levels(0, 5);
    power_up().kpa(charge_source, 210).kpa(manifold_source, 200);
    rpm(rpm_now).hold(600ms);
  }
  SpeedScript& speed_levels(double low, double high) {
    add(rig::SetOutput{port(foot), rig::Volts{low}});
    add(rig::SetOutput{port(speed_supply), rig::Volts{high}});
    return *this;
  }
  SpeedScript& close(S what, bool closed = true) {
    add(rig::SetRelay{port(what), closed});
    return *this;
  }
};

/// What the voltage of the speed line was in the last bins of a slice: its lowest and highest.
struct Swing {
  double low, high;
};
inline Swing swing(const drivers::Played& played, S sense, std::size_t slice, std::size_t of_last = 100) {
  const std::size_t track = track_of(standard) + 1 + static_cast<std::size_t>(sense - speed_in);
  Swing swing{100, -100};
  for (std::size_t i = bins(played, slice) - of_last; i < bins(played, slice); ++i) {
    const rig::EnvelopeBin b = rig::envelope_bin(played.tracks[track], played.slices[slice].tracks[track], i);
    swing.low = std::min(swing.low, b.low);
    swing.high = std::max(swing.high, b.high);
  }
  return swing;
}

/// Edges of a slice's second half, where all has settled.
inline std::vector<rig::RecordedEdge> edges(const drivers::Played& played, P capture, std::size_t slice) {
  auto all = rig::recorded_edges(played.slices[slice].tracks[track_of(capture)], 10'000'000);
  const rig::SegmentRecord& record = played.slices[slice].record;
  std::erase_if(all, [&](const rig::RecordedEdge& e) { return e.at < record.start + (record.end - record.start) / 2; });
  return all;
}

/// How far the manifold pressure is hidden at the end of a slice, in kPa.
inline double hidden(const drivers::Played& played, std::ptrdiff_t slice = -1) {
  return to_kpa(last(played, manifold_in, slice)) - to_kpa(last(played, manifold_out, slice));
}

}  // namespace sample
