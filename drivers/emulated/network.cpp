#include "drivers/emulated/network.hpp"

#include <utility>

#include "drivers/emulated/equations.hpp"

namespace drivers::emulated {
namespace {

enum Node : std::size_t { source_side, bench_in, module_in, module_out, bench_out, kNodes };
/// What the line's nodes are solved for; the rail's two points and the ground are mixtures themselves.
enum Column : std::size_t { of_source, of_output, of_rail, of_module_rail, of_ground, of_inside, of_one, kColumns };
using LineEquations = Equations<kNodes, kColumns>;

Mixture compose(const LineNetwork& n, const double* column) {
  Mixture mixture{};
  mixture[kSource] = column[of_source];
  mixture[kOutput] = column[of_output];
  mixture[kInside] = column[of_inside];
  mixture[kOne] = column[of_one];
  mixture = sum(mixture, n.rail, column[of_rail]);
  mixture = sum(mixture, n.module_rail, column[of_module_rail]);
  return sum(mixture, n.ground, column[of_ground]);
}

void join_sources(const LineNetwork& n, LineEquations& e) {
  if (n.source_limited) {
    e.inject(source_side, of_one, *n.source_limited);
  } else {
    e.feed(source_side, of_source, n.source);
  }
  e.inject(source_side, of_one, n.source_leakage + n.source_side_leakage);
  e.load(source_side, n.source_side_load);
  e.join(source_side, bench_in, n.fault_switch);
  e.load(bench_in, n.sense_in_load);
  e.inject(bench_in, of_one, n.sense_in_leakage);
}

void join_module(const LineNetwork& n, LineEquations& e) {
  e.join(bench_in, module_in, n.contact_in);
  e.feed_through(module_in, of_ground, n.leakage);
  e.feed(module_in, of_module_rail, n.module_pull_up);
  for (const bool high : {true, false}) {
    const std::optional<double>& clamp = high ? n.clamp_high : n.clamp_low;
    if (!clamp) continue;
    const double s = LineEquations::siemens(*clamp);
    e.feed_through(module_in, of_ground, s);
    e.inject(module_in, of_one, high ? s * kDiode : -s * kDiode);
    if (high) e.inject(module_in, of_inside, s);
  }
  e.join(module_in, module_out, n.through);
  e.feed(module_out, of_output, n.output);  // the stage stands on the module's ground
  if (n.output) e.inject(module_out, of_ground, LineEquations::siemens(*n.output));
  e.join(module_out, bench_out, n.contact_out);
}

void join_loads(const LineNetwork& n, LineEquations& e) {
  e.load(bench_out, n.sense_out_load);
  e.inject(bench_out, of_one, n.sense_out_leakage);
  for (const auto& ohms : {n.pull_up, n.second_pull_up}) e.feed(bench_out, of_rail, ohms);
  for (const auto& ohms : {n.pull_down, n.second_pull_down}) {
    if (ohms) e.load(bench_out, LineEquations::siemens(*ohms));
  }
  e.join(bench_in, bench_out, n.loop_back);
}

/// The line as its rail finds it, the module's own pull-up taken together with the controller's.
void reckon_back_feed(const LineNetwork& n, LineEquations& e, SolvedLine& solved) {
  const auto through = [](const std::optional<double>& ohms) { return ohms ? LineEquations::siemens(*ohms) : 0; };
  const auto pull = [&](Node node, double s) {
    if (s == 0) return;
    solved.draws_from_rail += s * (1 - e.fed[node][of_rail] - e.fed[node][of_module_rail]);
    double* column = e.fed[node];
    const double rail = std::exchange(column[of_rail], 0), module_rail = std::exchange(column[of_module_rail], 0);
    solved.feeds_rail = sum(solved.feeds_rail, compose(n, column), s);
    column[of_rail] = rail, column[of_module_rail] = module_rail;
  };
  pull(bench_out, through(n.pull_up) + through(n.second_pull_up));
  pull(module_in, through(n.module_pull_up));
}

}  // namespace

SolvedLine solve(const LineNetwork& n) {
  LineEquations e;
  join_sources(n, e);
  join_module(n, e);
  join_loads(n, e);
  e.eliminate();
  SolvedLine solved{compose(n, e.fed[source_side]), compose(n, e.fed[bench_in]), compose(n, e.fed[module_in]),
                    compose(n, e.fed[module_out]), compose(n, e.fed[bench_out])};
  reckon_back_feed(n, e, solved);
  return solved;
}

}  // namespace drivers::emulated
