#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "drivers/bench.hpp"
#include "rig/core/bench_setup.hpp"

namespace drivers::emulated {

/// Holds every value a session is given against the bench's ports and the limits it was opened with, before anything of
/// it is played. Throws rig::RigFault in words; the port is named.
class PlanCheck {
 public:
  PlanCheck(const rig::BenchSetup& setup, const rig::Capabilities& can, const SessionPlan& plan);
  void check(const rig::Segment& segment);
  /// Volts per second an output is held to; 0: not limited.
  double slew(rig::PortId port) const;

 private:
  void check_track(const rig::Track& track) const;
  void check_trigger(const std::string& where, const rig::Track& track) const;
  void check_event(const rig::Segment& segment, const rig::Event& event);
  void check_level(const std::string& where, rig::PortId port, double level) const;
  void check_exchange(const std::string& where, const rig::Exchange& exchange) const;
  void check_window(const std::string& where, const rig::Window& window) const;
  void check_until(const std::string& where, const rig::Segment& segment, const rig::Until& until) const;
  const rig::Port& port(const std::string& where, rig::PortId id) const;

  const rig::BenchSetup& setup_;
  const rig::Capabilities& can_;
  std::vector<rig::Track> tracks_;
  std::vector<std::optional<rig::PortLimit>> limits_;  ///< per port
  std::vector<double> levels_;                         ///< per port: what the segments checked so far leave it at
};

}  // namespace drivers::emulated
