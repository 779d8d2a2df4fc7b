#pragma once

#include <map>

#include "rig/compile/load_parts.hpp"

namespace rig {

/// Reads a bench's file: driver, ports, and which port sits on which line.
class BenchReader {
 public:
  explicit BenchReader(yaml::PlacedComplaints& complaints) : complaints_{complaints} {}
  std::optional<BenchSetup> read(const yaml::Node& root);

 private:
  void read_driver(yaml::MapReader& file);
  void read_ports(const yaml::Node& node);
  void read_wiring(const yaml::Node& node);
  void read_line(const yaml::Node& node, std::size_t number);
  void read_rail(const yaml::Node& node, std::size_t number);
  void read_speed(const yaml::Node& node);
  void read_ground(const yaml::Node& node);
  std::optional<Load> read_load(yaml::MapReader& map, std::string_view key, bool must_pull_down);
  void read_faults(const yaml::Node& node);
  void read_bus(const yaml::Node& node);
  std::optional<FaultBus::Tie> read_tie(yaml::MapReader& map, std::string_view key);
  void read_wire(const yaml::Node& node, std::size_t number);
  std::vector<std::string> wire_names() const;
  void read_check_standard(const yaml::Node& node);
  void read_calibration(const yaml::Node& node);
  void read_shift_start(const yaml::Node& node);
  std::optional<PortId> port_of(yaml::MapReader& map, const yaml::Node& node, std::initializer_list<PortKind> kinds);
  void need_port(yaml::MapReader& map, std::string_view key, PortId& into, std::initializer_list<PortKind> kinds);
  void may_port(yaml::MapReader& map, std::string_view key, std::optional<PortId>& into,
                std::initializer_list<PortKind> kinds);

  yaml::PlacedComplaints& complaints_;
  BenchSetup bench_;
  std::vector<std::string> port_names_;
  std::map<std::size_t, yaml::Place> used_;  ///< ports that the wiring has named, and where
};

}  // namespace rig
