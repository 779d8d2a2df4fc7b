#pragma once

#include "tests/unit/drivers/emulated/wired_bench.hpp"

/// A unit at a point where it hides some 25 kPa, for seeing when it falls back and when it shifts again.
namespace failsafe {

using namespace wired;

constexpr double kCharge = 210, kManifold = 200;  // kPa

inline double volts(double kpa) { return 0.5 + (kpa - 20) * 4 / 230; }
inline double kpa(double difference) { return difference * 230 / 4; }

/// Slice 2 of what is played; what follows begins with slice 3.
inline Script shifting() {
  Script script = powered();
  script.kpa(charge_source, kCharge).kpa(manifold_source, kManifold).rpm(3500).hold(500ms);
  return script;
}

/// How far an output lies under its input in one bin of a slice, in kPa.
inline double hides(const Stand& stand, std::size_t slice, std::size_t bin, int in = charge_in, int out = charge_out) {
  return kpa(stand.bin(slice, in, bin).mean - stand.bin(slice, out, bin).mean);
}
inline double hides_at_end(const Stand& stand, std::size_t slice, int in = charge_in, int out = charge_out) {
  return hides(stand, slice, stand.bins(slice) - 1, in, out);
}

/// The relay is seen by an output stage that is off: an output 0.06 V above what it should be is the module's own, one
/// that is not is joined to its input.
constexpr const char* kOwnOutput = "offset=0.06@charge_pressure";
inline bool passes(const Stand& stand, std::size_t slice, std::size_t bin) {
  return std::abs(stand.bin(slice, charge_out, bin).mean - stand.bin(slice, charge_in, bin).mean) < 0.02;
}
inline bool passes_at_end(const Stand& stand, std::size_t slice) { return passes(stand, slice, stand.bins(slice) - 1); }
/// The first bin of a slice from which on the charge pressure's output is joined to its input to the end.
inline std::size_t passes_from(const Stand& stand, std::size_t slice) {
  std::size_t from = stand.bins(slice);
  while (from > 0 && passes(stand, slice, from - 1)) --from;
  return from;
}

}  // namespace failsafe
