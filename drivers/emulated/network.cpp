#include "drivers/emulated/network.hpp"

#include <algorithm>

namespace drivers::emulated {
namespace {

// A contact of no resistance at all would make the equations singular; 10 gigaohm to ground gives a node that nothing
// holds the voltage 0 instead of none.
constexpr double kLeastOhms = 0.01;
constexpr double kAir = 1e-10;

enum Node { source_side, bench_in, module_in, module_out, bench_out, kNodes };

/// Conductances between the nodes, and on the right what each driver feeds into each node at one volt.
struct Equations {
  double g[kNodes][kNodes] = {};
  double fed[kNodes][3] = {};

  void ground(Node node, double siemens) { g[node][node] += siemens; }
  void join(Node a, Node b, const std::optional<double>& ohms) {
    if (!ohms) return;
    const double s = 1 / std::max(*ohms, kLeastOhms);
    g[a][a] += s, g[b][b] += s, g[a][b] -= s, g[b][a] -= s;
  }
  void feed(Node node, Driver driver, const std::optional<double>& ohms) {
    if (!ohms) return;
    const double s = 1 / std::max(*ohms, kLeastOhms);
    g[node][node] += s, fed[node][driver] += s;
  }
  /// Elimination without pivoting: the matrix is symmetric and diagonally dominant.
  void eliminate() {
    for (int k = 0; k < kNodes; ++k) {
      for (int i = k + 1; i < kNodes; ++i) {
        const double factor = g[i][k] / g[k][k];
        if (factor == 0) continue;
        for (int j = k; j < kNodes; ++j) g[i][j] -= factor * g[k][j];
        for (int d = 0; d < 3; ++d) fed[i][d] -= factor * fed[k][d];
      }
    }
    for (int k = kNodes - 1; k >= 0; --k) {
      for (int d = 0; d < 3; ++d) {
        for (int j = k + 1; j < kNodes; ++j) fed[k][d] -= g[k][j] * fed[j][d];
        fed[k][d] /= g[k][k];
      }
    }
  }
  Mixture of(Node node) const { return {fed[node][0], fed[node][1], fed[node][2]}; }
};

}  // namespace

SolvedLine solve(const LineNetwork& n) {
  Equations e;
  for (int node = 0; node < kNodes; ++node) e.ground(static_cast<Node>(node), kAir);
  e.feed(source_side, kSource, n.source);
  e.ground(source_side, n.source_side_load);
  e.join(source_side, bench_in, n.fault_switch);
  e.ground(bench_in, n.sense_in_load);
  e.join(bench_in, module_in, n.isolator);
  e.ground(module_in, n.leakage);
  e.feed(module_in, kRail, n.module_pull_up);
  e.join(module_in, module_out, n.through);
  e.feed(module_out, kOutput, n.output);
  e.join(module_out, bench_out, n.isolator);
  e.ground(bench_out, n.sense_out_load);
  e.feed(bench_out, kRail, n.pull_up);
  if (n.pull_down) e.ground(bench_out, 1 / std::max(*n.pull_down, kLeastOhms));
  e.join(bench_in, bench_out, n.loop_back);
  e.eliminate();
  return {e.of(source_side), e.of(bench_in), e.of(module_in), e.of(module_out), e.of(bench_out)};
}

}  // namespace drivers::emulated
