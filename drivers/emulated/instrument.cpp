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

namespace {

/// What a trouble named after a line, a rail or the battery means there.
enum class Part { source, sense, relay };
Part part_of(const BenchTrouble& trouble) {
  if (trouble.name == "stuck_relay") return Part::relay;
  const bool sense =
      trouble.name == "saturated_capture" || trouble.name == "scanned_skew" || trouble.name == "opened_sense";
  return sense ? Part::sense : Part::source;
}

/// Contacts have no port: these troubles name a line, a rail, the speed line or the ground.
bool is_of_a_pin(const rig::BenchSetup& setup, const BenchTrouble& trouble) {
  return trouble.name == "worn_contact" && (setup.wiring.line(trouble.place) || setup.wiring.rail(trouble.place) ||
                                            trouble.place == "speed" || trouble.place == "ground");
}

}  // namespace

bool concerns(const rig::BenchSetup& setup, const BenchTrouble& trouble, rig::PortId port) {
  if (setup.ports[index(port)].name == trouble.place) return true;
  const Part part = part_of(trouble);
  const auto is_relay = [&](const std::optional<rig::Load>& load) { return load && load->relay == port; };
  if (const rig::LineWiring* line = setup.wiring.line(trouble.place)) {
    if (part == Part::relay) {
      return line->fault_switch == port || is_relay(line->load) || is_relay(line->second_load);
    }
    return port == (part == Part::sense ? line->sense_out : line->source);
  }
  if (const rig::RailWiring* rail = setup.wiring.rail(trouble.place)) {
    if (part == Part::relay) return is_relay(rail->sensor_load);
    return port == (part == Part::sense ? rail->sense_sensor : rail->source);
  }
  const bool sense = part == Part::sense;
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
    bool found = is_of_a_pin(setup, trouble);
    for (std::size_t i = 0; i < setup.ports.size() && trouble.name != "worn_contact"; ++i) {
      found = found || concerns(setup, trouble, static_cast<rig::PortId>(i));
    }
    if (!found) {
      throw rig::RigFault{"bench trouble " + trouble.name, "bench " + setup.name + " has no '" + trouble.place + "'",
                          trouble.name == "worn_contact" ? "Name a line or a rail of the bench, 'speed' or 'ground'"
                                                         : "Name a port, a line or a rail of the bench"};
    }
  }
}

bool is_opened(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles) {
  return std::any_of(troubles.begin(), troubles.end(), [&](const BenchTrouble& trouble) {
    return trouble.name == "opened_sense" && concerns(setup, trouble, port);
  });
}

double opened_volts(const rig::BenchSetup& setup, rig::PortId port) {
  const rig::Port& p = setup.ports[index(port)];
  return std::copysign(setup.perfect ? 0 : p.leakage.value(), draw_leakage(setup, port)) * p.resistance.value();
}

double draw_leakage(const rig::BenchSetup& setup, rig::PortId port) {
  if (setup.perfect) return 0;
  const Chance chance{setup.seed, "", 0x100u + index(port)};
  return setup.ports[index(port)].leakage.value() * chance.symmetric(2);
}

std::int64_t draw_delay(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles) {
  const rig::Port& p = setup.ports[index(port)];
  auto delay = static_cast<double>(p.skew.count());
  if (!setup.perfect) {
    delay += static_cast<double>(p.skew_error.count()) * Chance{setup.seed, "", 0x100u + index(port)}.symmetric(3);
  }
  for (const BenchTrouble& trouble : troubles) {
    if (trouble.name == "scanned_skew" && concerns(setup, trouble, port)) delay += trouble.value * 1e9;
  }
  return std::max<std::int64_t>(std::llround(delay), 0);  // nothing is read before it is there
}

double source_tau(const rig::BenchSetup& setup, rig::PortId port, const std::vector<BenchTrouble>& troubles) {
  double tau = static_cast<double>(setup.ports[index(port)].settling.count());
  for (const BenchTrouble& trouble : troubles) {
    if (trouble.name == "slow_source" && concerns(setup, trouble, port)) tau = std::max(tau, trouble.value * 1e9);
  }
  return tau;
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
