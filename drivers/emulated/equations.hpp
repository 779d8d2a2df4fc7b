#pragma once

#include <algorithm>
#include <cstddef>
#include <optional>

namespace drivers::emulated {

/// Node equations of a small resistive network: conductances between the nodes, and on the right what each column (a
/// voltage or a current of one) feeds into each node.
template <std::size_t kNodes, std::size_t kColumns>
struct Equations {
  // A contact of no resistance at all would make the equations singular; 100 gigaohm to zero gives a node that nothing
  // holds the voltage 0 instead of none.
  static constexpr double kLeastOhms = 0.001, kAir = 1e-11;

  std::size_t nodes;  ///< how many of them there are
  double g[kNodes][kNodes] = {};
  double fed[kNodes][kColumns] = {};

  explicit Equations(std::size_t count = kNodes) : nodes{count} {
    for (std::size_t node = 0; node < nodes; ++node) g[node][node] = kAir;
  }
  static double siemens(double ohms) { return 1 / std::max(ohms, kLeastOhms); }
  void load(std::size_t node, double siemens_to_zero) { g[node][node] += siemens_to_zero; }
  void join(std::size_t a, std::size_t b, const std::optional<double>& ohms) {
    if (!ohms) return;
    const double s = siemens(*ohms);
    g[a][a] += s, g[b][b] += s, g[a][b] -= s, g[b][a] -= s;
  }
  /// From a column's voltage through a resistance into a node.
  void feed(std::size_t node, std::size_t column, const std::optional<double>& ohms, double volts = 1) {
    if (ohms) feed_through(node, column, siemens(*ohms), volts);
  }
  void feed_through(std::size_t node, std::size_t column, double s, double volts = 1) {
    g[node][node] += s, fed[node][column] += s * volts;
  }
  void inject(std::size_t node, std::size_t column, double amperes) { fed[node][column] += amperes; }

  /// Afterwards fed[node][column] is the node's voltage for each column. Elimination without pivoting: the matrix is
  /// diagonally dominant.
  void eliminate() {
    for (std::size_t k = 0; k < nodes; ++k) {
      for (std::size_t i = k + 1; i < nodes; ++i) {
        const double factor = g[i][k] / g[k][k];
        if (factor == 0) continue;
        for (std::size_t j = k; j < nodes; ++j) g[i][j] -= factor * g[k][j];
        for (std::size_t c = 0; c < kColumns; ++c) fed[i][c] -= factor * fed[k][c];
      }
    }
    for (std::size_t k = nodes; k-- > 0;) {
      for (std::size_t j = k + 1; j < nodes; ++j) {
        if (g[k][j] == 0) continue;
        for (std::size_t c = 0; c < kColumns; ++c) fed[k][c] -= g[k][j] * fed[j][c];
      }
      for (std::size_t c = 0; c < kColumns; ++c) fed[k][c] /= g[k][k];
    }
  }
};

}  // namespace drivers::emulated
