#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/compile/plan.hpp"

/// A product's lines as a bench has them: which ports, which known resistances.
namespace rig {

/// One pressure or temperature line of a product on a bench.
struct BenchLine {
  std::string name;
  const LineWiring* wiring = nullptr;
  TrackMap::Line tracks;
  std::size_t rail = 0;
  Ohms source{0};  ///< of the sensor that the source stands for
  bool temperature = false;
};
/// The product's pressures, then its temperature. REQUIRES: the wiring has them all and outlives the result.
std::vector<BenchLine> bench_lines(const Product& product, const BenchSetup& bench, const TrackMap& tracks);

/// Known resistors on a line's controller side, together.
struct KnownLoad {
  double to_ground = 0, to_rail = 0;  ///< siemens
  double error = 0;                   ///< limit, of their value
  bool any() const { return to_ground + to_rail > 0; }
  double siemens() const { return to_ground + to_rail; }
  /// Amperes out of the line.
  double current(double volts, double rail) const { return volts * to_ground + (volts - rail) * to_rail; }
};
/// What hangs on a line while its first or second load is closed. Without a load of the bench's own, the controller's
/// input is always there.
KnownLoad known_load(const Product& product, const BenchSetup& bench, std::size_t line, bool first, bool second);

/// What a rail's sensor load is; nothing where the bench has none.
std::optional<KnownLoad> known_rail_load(const RailWiring& wiring, const BenchSetup& bench);

}  // namespace rig
