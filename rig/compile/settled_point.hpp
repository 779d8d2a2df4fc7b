#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/compile/expected.hpp"
#include "rig/compile/readings.hpp"

/// One settled operating point, read off a slice: everything at the module's pins, in physical units.
namespace rig {

struct PressureReading {
  Reading in_v, out_v;
  Kilopascals in, out;      ///< by the sensor's rail, and by the controller's
  Kilopascals in_u, out_u;  ///< expanded, k = 2, rails included
  bool settled = true;
  std::optional<Nanoseconds> settled_after;  ///< when the output's settled window began, from the segment's start
};

struct SettledPoint {
  std::string voided;      ///< why nothing can be said; empty when something can
  std::string unit_fault;  ///< nothing can be measured, and the unit is why; empty when it can
  std::vector<PressureReading> pressures;
  std::optional<Celsius> temperature_in, temperature_out;
  Kelvins temperature_u{0};
  bool temperature_settled = true;  ///< the temperature's output; its input is the rig's
  MeasuredSpeed speed;
  std::size_t edges_in = 0, edges_out = 0;
};

/// Reads a settled segment. `about` is the speed it was asked for. Voided when the recording has a gap or a flag, a
/// rail is out of its limits, an input did not settle, or the speed is not what was asked.
SettledPoint read_point(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const Segment& segment,
                        const Slice& slice, const Scales& scales, Rpm about);

/// The same, over `count` bins from bin `first` on, whether settled or not, at a speed that is known from elsewhere
/// (the one asked for): for stretches in which the speed signal itself is being disturbed.
SettledPoint read_stretch(const Product& product, const BenchSetup& bench, const TrackMap& tracks, const Slice& slice,
                          const Scales& scales, std::size_t first, std::size_t count, Rpm speed);

/// Expected output of a channel at a measured point, and the doubt that the measured input, speed and rails leave in
/// it.
struct Expectation {
  Kilopascals value, uncertainty;
};
Expectation expectation(const Product& product, std::size_t channel, const SettledPoint& point);

}  // namespace rig
