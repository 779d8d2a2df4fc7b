#include "rig/compile/bench_line.hpp"

#include <algorithm>

namespace rig {
namespace {

/// What the product says the controller puts behind a line's output; a pull-up may sit in the module instead.
ControllerInput controller_input(const Product& product, std::size_t line) {
  if (line < product.pressures.size()) return product.pressures[line].controller;
  const auto& temperature = *product.temperature;
  if (temperature.pull_up_at == PullUpPlace::module) return {};
  const double share = temperature.pull_up_at == PullUpPlace::both ? 2 : 1;  // two in parallel are the curve's one
  return {Ohms{temperature.curve.pull_up.value() * share}, {}, {}};
}

void add(KnownLoad& sum, const ControllerInput& input, double contact, double error) {
  if (input.pull_down) sum.to_ground += 1 / (input.pull_down->value() + contact);
  if (input.pull_up) sum.to_rail += 1 / (input.pull_up->value() + contact);
  sum.error = std::max(sum.error, error);
}

}  // namespace

std::vector<BenchLine> bench_lines(const Product& product, const BenchSetup& bench, const TrackMap& tracks) {
  std::vector<BenchLine> lines;
  for (std::size_t i = 0; i < product.pressures.size(); ++i) {
    const auto& channel = product.pressures[i];
    lines.push_back({channel.name, bench.wiring.line(channel.name), tracks.pressures[i], channel.rail,
                     channel.source_resistance, false});
  }
  if (product.temperature) {
    const auto* wiring = bench.wiring.line(product.temperature->name);
    lines.push_back({product.temperature->name, wiring, *tracks.temperature, product.temperature->rail,
                     bench.ports[index(wiring->source)].resistance, true});
  }
  return lines;
}

KnownLoad known_load(const Product& product, const BenchSetup& bench, std::size_t line, bool first, bool second) {
  const auto& name = line < product.pressures.size() ? product.pressures[line].name : product.temperature->name;
  const auto* wiring = bench.wiring.line(name);
  const auto own = controller_input(product, line);
  KnownLoad sum;
  if (!wiring->load) add(sum, own, 0, 0);
  auto add_load = [&](const Load& load) {
    const bool stated = load.is.pull_up || load.is.pull_down;
    add(sum, stated ? load.is : own, bench.ports[index(load.relay)].resistance.value(), load.error);
  };
  if (first && wiring->load) add_load(*wiring->load);
  if (second && wiring->second_load) add_load(*wiring->second_load);
  return sum;
}

std::optional<KnownLoad> known_rail_load(const RailWiring& wiring, const BenchSetup& bench) {
  if (!wiring.sensor_load || !wiring.sensor_load->is.pull_down) return std::nullopt;
  KnownLoad load;
  add(load, wiring.sensor_load->is, bench.ports[index(wiring.sensor_load->relay)].resistance.value(),
      wiring.sensor_load->error);
  load.to_rail = 0;
  return load;
}

}  // namespace rig
