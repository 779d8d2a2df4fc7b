#pragma once

#include <optional>
#include <vector>

#include "rig/compile/scenario.hpp"

namespace rig {

/// One point of a sweep, in playing order.
struct SweepPoint {
  Rpm speed;
  std::vector<Kilopascals> pressures;  ///< one per Product::pressures
  Kilopascals index;                   ///< the pressure that indexes the tables: what the point is named by
  std::optional<Celsius> temperature;
  bool from_above = false;                   ///< a second reading, approached from a higher pressure
  std::optional<std::size_t> first_reading;  ///< of a reading from above: its point from below
  bool speed_changes = false;                ///< against the point before
};

/// Which of the product's pressures indexes the tables. Its pressure is the sweep's axis; the other is driven a
/// throttle drop away from it.
std::size_t index_pressure(const Product& product);

/// All points in the order that spends least on settling: temperature outermost (slow lines), then speed (its change
/// costs the module several intervals), then pressure rising; on the way back down to the next row a stated share of
/// the row's points is read again from above.
std::vector<SweepPoint> sweep_points(const Product& product, const SweepSpec& spec);

/// Three points that tell which output answers to which input: a base, and each pressure raised by itself.
std::vector<SweepPoint> response_points(const Product& product, const SweepSpec& spec);

/// The tolerance that holds at a point: the last region that covers it, else the sweep's own.
Tolerance tolerance_at(const SweepSpec& spec, const SweepPoint& point);

}  // namespace rig
