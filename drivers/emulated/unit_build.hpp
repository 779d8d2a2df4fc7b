#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <vector>

#include "drivers/emulated/defects.hpp"
#include "drivers/emulated/module_table.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// One pressure channel of one built module.
struct ChannelBuild {
  double gain = 1, offset = 0;  ///< of the output stage: V = V * gain + offset
  double rail_distance = 0.02;  ///< how near the output stage comes to ground and rail, V
  double bypass_ohms = 1;       ///< closed contact of its bypass relay
  bool has_bypass = true;
  double output_filter_ns = 0;
  double noise = 0;   ///< V, standard deviation from sample to sample
  double glitch = 0;  ///< V, while the module takes over
  double crosstalk = 0;
  std::optional<double> stuck_at;  ///< V
  std::int64_t shift_short = 0;    ///< tenths of kPa missing where it is shifted
  std::int64_t shift_extra = 0;    ///< tenths of kPa more at the largest shift
  TableQuirks quirks;
  bool derated = true;
};

/// A module as it left the line: the product's nominal build, this unit's place in the spread, and its defects.
struct UnitBuild {
  std::string serial;
  std::vector<ChannelBuild> channels;  ///< one per pressure of the product
  std::vector<double> leakage;         ///< siemens at the input pin, per pressure and then the temperature
  double input_filter_ns = 0;
  std::int64_t boot_ns = 0;
  std::int64_t sample_ns = 1, sample_phase_ns = 0;
  double idle_current = 0, inrush_current = 0;
  std::int64_t inrush_ns = 0;
  bool channels_swapped = false;
};

/// The spread is a pure function of the serial number. Throws rig::RigFault when a defect names no channel of the
/// product's, or one it cannot act on.
UnitBuild build_unit(const rig::Product& product, const std::string& serial, const std::vector<Defect>& defects,
                     bool nominal);

}  // namespace drivers::emulated
