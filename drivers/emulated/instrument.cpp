#include "drivers/emulated/instrument.hpp"

#include <algorithm>
#include <cmath>

#include "drivers/emulated/noise.hpp"
#include "rig/core/rig_fault.hpp"

namespace drivers::emulated {

const BenchTrouble* find_trouble(const std::vector<BenchTrouble>& troubles, std::string_view name) {
  for (const BenchTrouble& trouble : troubles) {
    if (trouble.name == name) return &trouble;
  }
  return nullptr;
}

bool concerns(const rig::BenchSetup& setup, const BenchTrouble& trouble, rig::PortId port) {
  if (setup.ports[index(port)].name == trouble.place) return true;
  const bool sense = trouble.name == "saturated_capture";
  if (const rig::LineWiring* line = setup.wiring.line(trouble.place)) {
    if (trouble.name == "stuck_relay") return line->fault_switch == port || (line->load && line->load->relay == port);
    return port == (sense ? line->sense_out : line->source);
  }
  if (const rig::RailWiring* rail = setup.wiring.rail(trouble.place)) {
    return port == (sense ? rail->sense_sensor : rail->source);
  }
  return trouble.place == "battery" && port == (sense ? setup.wiring.battery_sense : setup.wiring.battery);
}

void check_troubles(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles) {
  for (const BenchTrouble& trouble : troubles) {
    const auto kinds = list_bench_troubles();
    if (std::none_of(kinds.begin(), kinds.end(), [&](const BenchTroubleKind& k) { return k.name == trouble.name; })) {
      throw rig::RigFault{"bench trouble " + trouble.name, "no such trouble",
                          "Known are those of list_bench_troubles()"};
    }
    if (trouble.place.empty()) continue;
    bool found = false;
    for (std::size_t i = 0; i < setup.ports.size(); ++i) {
      found = found || concerns(setup, trouble, static_cast<rig::PortId>(i));
    }
    if (!found) {
      throw rig::RigFault{"bench trouble " + trouble.name, "bench " + setup.name + " has no '" + trouble.place + "'",
                          "Name a port, a line or a rail of the bench"};
    }
  }
}

PortError draw_error(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles) {
  PortError error;
  if (!setup.perfect) {
    const rig::ErrorLimit& limit = setup.ports[index(port)].accuracy;
    const Chance chance{setup.seed, "", 0x100u + index(port)};
    error.offset = limit.offset * chance.symmetric(0);
    error.gain = limit.gain * chance.symmetric(1);
  }
  for (const BenchTrouble& trouble : troubles) {
    if (trouble.name == "drifted_source" && concerns(setup, trouble, port)) error.offset += trouble.value;
  }
  return error;
}

Converter make_converter(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles) {
  const rig::Port& p = setup.ports[index(port)];
  const PortError error = draw_error(setup, port, {});
  const rig::Calibration calibration =
      index(port) < setup.calibration.size() ? setup.calibration[index(port)] : rig::Calibration{};
  Converter converter;
  converter.scale = p.resolution > 0 ? p.resolution : std::max((p.high - p.low) / 65536, 1e-9);
  // corrected = (raw + offset) * gain is to be value * (1 + error.gain) + error.offset.
  converter.per_unit = (1 + error.gain) / calibration.gain / converter.scale;
  converter.zero = (error.offset / calibration.gain - calibration.offset) / converter.scale;
  const double most = 1 << 26;  // a mean is kept in sixteenths of a code, in 32 bits
  converter.lowest = static_cast<std::int32_t>(std::max(std::ceil(p.low / converter.scale - 1e-6), -most));
  converter.highest = static_cast<std::int32_t>(std::min(std::floor(p.high / converter.scale + 1e-6), most));
  const double reach = std::max(std::abs(p.low), std::abs(p.high));
  converter.slack = 2 + (p.accuracy.offset + p.accuracy.gain * reach) / converter.scale;
  for (const BenchTrouble& trouble : troubles) {
    if (trouble.name == "saturated_capture" && concerns(setup, trouble, port)) converter.stuck = true;
  }
  return converter;
}

}  // namespace drivers::emulated
