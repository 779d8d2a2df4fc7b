#pragma once

#include <optional>
#include <set>
#include <string>
#include <string_view>

#include "rig/compile/scenario.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/complaint.hpp"

/// What the checks of claims share. Internal to claims*.cpp and ceiling_claims.cpp.
namespace rig {

/// Collects refusals; the same one of several steps is said once.
class ClaimList {
 public:
  ClaimList(const Scenario& asked, const BenchSetup& on, const Capabilities& capabilities)
      : scenario{asked}, product{*asked.product}, bench{on}, can{capabilities} {
    bench.ports = capabilities.ports;
  }

  /// `where`: the pin or the line, empty when it is about the whole step.
  void refuse(std::string_view step, const std::string& where, const std::string& why, const std::string& remedy);
  Complaints take() { return std::move(complaints_); }

  const Port& port(PortId id) const { return bench.ports[index(id)]; }
  /// "pin S3 (charge_pressure)", or the line's name where the product's file tells no pins.
  std::string pin(std::string_view carries, ConnectorSide side) const;
  std::string sensor_pin(std::string_view carries) const { return pin(carries, ConnectorSide::sensor); }
  std::string controller_pin(std::string_view carries) const { return pin(carries, ConnectorSide::controller); }

  const Scenario& scenario;
  const Product& product;
  BenchSetup bench;  ///< with the ports as the bench itself says they are
  const Capabilities& can;

 private:
  Complaints complaints_;
  std::set<std::string> said_;
};

/// Least volts a kilopascal makes on a channel, at its rail's nominal voltage.
double least_volts_per_kilopascal(const PressureChannel& channel);

void check_line_claims(const StepSpec& step, ClaimList& list);     // claims_lines.cpp
void check_loading_claims(const StepSpec& step, ClaimList& list);  // claims_loading.cpp
void check_speed_claims(const SpeedLineSpec& step, ClaimList& list);
void check_fault_claims(const FaultSpec& step, ClaimList& list);
void check_identify_claims(const IdentifySpec& step, ClaimList& list);
void check_supply_claims(const SupplySpec& step, ClaimList& list);  // supply_claims.cpp
void check_dynamics_claims(const StepSpec& step, ClaimList& list);  // claims_dynamics.cpp
/// No band of any step may be wider than the product's hard ceiling leaves room for.
void check_ceiling_bands(const StepSpec& step, ClaimList& list);

}  // namespace rig
