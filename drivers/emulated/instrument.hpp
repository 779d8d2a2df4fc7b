#pragma once

#include <cstdint>
#include <string>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "rig/core/bench_setup.hpp"

/// The errors of the bench's own instruments.
namespace drivers::emulated {

/// What a port adds: value * (1 + gain) + offset.
struct PortError {
  double gain = 0, offset = 0;
  double of(double value) const { return value * (1 + gain) + offset; }
};

/// Drawn from the bench's seed, within the port's stated limit of error; none on a perfect bench. Troubles are on top.
PortError draw_error(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles);

/// A sense whose wire is off: it loads nothing, and reads what its own leakage gives on its own resistance.
bool is_opened(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles);
/// V, that it reads: all the leakage it may have, to the side that the bench's seed draws, on its own resistance.
double opened_volts(const rig::BenchSetup& setup, rig::PortId port);
/// A, out of a sense's terminals, or a source's while it is high impedance; within what the port states.
double draw_leakage(const rig::BenchSetup& setup, rig::PortId port);
/// How late a sense reads, in nanoseconds: its stated skew, and what of the stated error the bench's seed draws.
std::int64_t draw_delay(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles);
/// Time constant of a source, in nanoseconds.
double source_tau(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles);

/// Whether a trouble's place means this port: by its name, or by that of the line or rail it is the source of
/// (`saturated_capture`: the sense_out of).
bool concerns(const rig::BenchSetup& setup, const BenchTrouble& trouble, rig::PortId port);
/// Throws rig::RigFault when a trouble is unknown, or names nothing on this bench.
void check_troubles(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles);
const BenchTrouble* find_trouble(const std::vector<BenchTrouble>& troubles, std::string_view name);

/// Turns what a sense sees into its converter's codes. Its raw codes are such that the calibration in force, applied to
/// them, leaves the drawn error.
struct Converter {
  double per_unit = 1, zero = 0;         ///< code = value * per_unit + zero, before rounding
  std::int32_t lowest = 0, highest = 0;  ///< full scale
  double slack = 0;                      ///< codes beyond full scale that error and noise explain
  bool stuck = false;                    ///< at full scale
  double scale = 1;                      ///< value of one code

  double code(double value) const { return stuck ? highest : value * per_unit + zero; }
  /// The signal itself, without noise, is off the scale.
  bool saturated(double low_code, double high_code) const {
    return stuck || low_code < lowest - slack || high_code > highest + slack;
  }
};

Converter make_converter(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles);

/// Written so that compilers need no branch for it.
inline double held(double value, double low, double high) {
  value = value < high ? value : high;
  return value > low ? value : low;
}

/// Rounds to nearest, ties up. REQUIRES: |value| < 2^30.
inline std::int32_t round_code(double value) {
  constexpr double kLift = 2147483648.5;  // truncation of a positive number is its floor
  return static_cast<std::int32_t>(static_cast<std::int64_t>(value + kLift) - 2147483648);
}

}  // namespace drivers::emulated
