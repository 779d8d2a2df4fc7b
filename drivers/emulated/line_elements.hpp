#pragma once

#include <cstddef>

#include "drivers/emulated/network.hpp"

namespace drivers::emulated {

enum LineNode : std::size_t { source_side, bench_in, module_in, module_out, wire_out, bench_out, kLineNodes };

/// Puts a line's elements into equations, alone or among others': `e` knows where the line's nodes are, what its rail
/// and the module's ground are, and which column a driver is.
template <class E>
void put_elements(const LineNetwork& n, E&& e) {
  const auto pull = [&e](LineNode node, const std::optional<double>& ohms) {
    if (ohms) e.load(node, e.siemens(*ohms));
  };
  if (n.source_limited) {
    e.inject(source_side, kOne, *n.source_limited);
  } else {
    e.feed(source_side, kSource, n.source);
  }
  e.inject(source_side, kOne, n.source_leakage + n.source_side_leakage);
  e.load(source_side, n.source_side_load);
  e.join(source_side, bench_in, n.fault_switch);
  e.load(bench_in, n.sense_in_load);
  e.inject(bench_in, kOne, n.sense_in_leakage);

  e.join(bench_in, module_in, n.contact_in);
  e.to_ground(module_in, n.leakage);
  e.to_module_rail(module_in, n.module_pull_up);
  for (const bool high : {true, false}) {
    const std::optional<double>& clamp = high ? n.clamp_high : n.clamp_low;
    if (!clamp) continue;
    const double s = e.siemens(*clamp);
    e.to_ground(module_in, s);
    e.inject(module_in, kOne, high ? s * kDiode : -s * kDiode);
    if (high) e.inject(module_in, kInside, s);
  }
  e.join(module_in, module_out, n.through);
  if (n.output) {  // the stage stands on the module's ground
    e.to_ground(module_out, e.siemens(*n.output));
    e.inject(module_out, kOutput, e.siemens(*n.output));
  }
  e.join(module_out, wire_out, n.contact_out);
  e.join(wire_out, bench_out, n.wire_out);

  e.load(bench_out, n.sense_out_load);
  e.inject(bench_out, kOne, n.sense_out_leakage);
  e.to_rail(bench_out, n.pull_up);
  e.to_rail(bench_out, n.second_pull_up);
  pull(bench_out, n.pull_down);
  pull(bench_out, n.second_pull_down);
  e.join(bench_in, bench_out, n.loop_back);
}

}  // namespace drivers::emulated
