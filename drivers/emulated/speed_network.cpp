#include "drivers/emulated/speed_network.hpp"

#include <algorithm>

namespace drivers::emulated {
namespace {

constexpr double kLeastOhms = 0.01;  ///< none at all would make the equations singular
constexpr double kAir = 1e-10;       ///< siemens: a node that nothing holds stands at 0 V
// Farad of a sensor's cable, and of a controller's input with its cable; common practice, no source.
constexpr double kSensorSide = 0.5e-9, kControllerSide = 1e-9;

enum Node { bench_in, module_in, module_out, wire_out, bench_out, bus, kNodes };

struct Equations {
  double g[kNodes][kNodes] = {};
  double right[kNodes][2] = {};  ///< what is fed in; capacitance

  void ground(Node node, double siemens) { g[node][node] += siemens; }
  void join(Node a, Node b, const std::optional<double>& ohms) {
    if (!ohms) return;
    const double s = 1 / std::max(*ohms, kLeastOhms);
    g[a][a] += s, g[b][b] += s, g[a][b] -= s, g[b][a] -= s;
  }
  void pull(Node node, const std::optional<SpeedNetwork::Pull>& towards) {
    if (!towards) return;
    const double s = 1 / std::max(towards->ohms, kLeastOhms);
    g[node][node] += s, right[node][0] += s * towards->volts;
  }
  /// Elimination without pivoting: the matrix is symmetric and diagonally dominant.
  void eliminate() {
    for (int k = 0; k < kNodes; ++k) {
      for (int i = k + 1; i < kNodes; ++i) {
        const double factor = g[i][k] / g[k][k];
        for (int j = k; j < kNodes; ++j) g[i][j] -= factor * g[k][j];
        for (int r = 0; r < 2; ++r) right[i][r] -= factor * right[k][r];
      }
    }
    for (int k = kNodes - 1; k >= 0; --k) {
      for (int r = 0; r < 2; ++r) {
        for (int j = k + 1; j < kNodes; ++j) right[k][r] -= g[k][j] * right[j][r];
        right[k][r] /= g[k][k];
      }
    }
  }
  SpeedLevel at(Node node) const { return {right[node][0], right[node][1] * 1e9}; }
};

void put_elements(const SpeedNetwork& n, Equations& e) {
  for (int node = 0; node < kNodes; ++node) e.ground(static_cast<Node>(node), kAir);
  e.pull(bench_in, n.drain);
  e.ground(bench_in, n.load_in);
  e.join(bench_in, module_in, n.contact_in);
  e.ground(module_in, n.drag);
  e.pull(module_in, n.module_in);
  e.join(module_in, module_out, n.through);
  e.pull(module_out, n.stage);
  e.pull(module_out, n.module_out);
  e.join(module_out, wire_out, n.contact_out);
  e.join(wire_out, bench_out, n.wire_out);
  e.pull(bench_out, n.pull_up);
  e.ground(bench_out, n.load_out);
  e.join(bench_in, bench_out, n.loop_back);
  e.join(bench_in, bus, n.bus_in);
  e.join(wire_out, bus, n.bus_out);
  e.pull(bus, n.bus);
}

}  // namespace

SolvedSpeed solve(const SpeedNetwork& n) {
  Equations e;
  put_elements(n, e);
  e.right[bench_in][1] = kSensorSide;
  e.right[bench_out][1] = kControllerSide;
  e.eliminate();
  return {e.at(bench_in), e.at(module_in), e.at(bench_out)};
}

SpeedNetwork::Pull seen_from_bus(SpeedNetwork n) {
  n.bus = std::nullopt;
  Equations e;
  put_elements(n, e);
  e.right[bus][1] = 1;  // one ampere, in the place of a capacitance
  e.eliminate();
  return {e.right[bus][1], e.right[bus][0]};
}

}  // namespace drivers::emulated
