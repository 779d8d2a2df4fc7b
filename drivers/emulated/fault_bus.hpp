#pragma once

#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/bench_setup.hpp"

namespace drivers::emulated {

/// The relays with which the bench breaks wires, wears them and joins them to its fault bus: where they stand, and what
/// each makes. Every resistance is a resistor's, drawn from the bench's seed within its limit of error, and its relay's
/// contact's.
class FaultBus {
 public:
  explicit FaultBus(const rig::BenchSetup& setup);

  /// True if the relay is one of these and has changed something.
  bool set_relay(rig::PortId relay, bool closed);
  /// Something is joined or tied to the bus.
  bool in_use() const;

  /// From the bench to the module's side of a wire: through the break's contact, through what is worn in its place, or
  /// through both. Nothing: broken. 0: the bench has no break there.
  std::optional<double> wire(std::string_view wire, rig::ConnectorSide side) const;
  /// From the wire to the bus, while it is joined.
  std::optional<double> joint(std::string_view wire, rig::ConnectorSide side) const;
  struct Ties {
    std::optional<double> ground, reference, battery, bias_up, bias_down;
  };
  Ties ties() const;

 private:
  struct Switch {
    rig::PortId relay;
    double ohms = 0;
    bool closed = false;
    std::optional<double> through() const { return closed ? std::optional{ohms} : std::nullopt; }
  };
  struct Wire {
    std::string name;
    rig::ConnectorSide side;
    std::optional<Switch> made, worn, to_bus;
  };
  Wire& entry(const std::string& name, rig::ConnectorSide side);
  const Wire* find(std::string_view name, rig::ConnectorSide side) const;
  template <class F>
  void for_each(F&& f);

  std::vector<Wire> wires_;
  std::optional<Switch> ground_, reference_, battery_, bias_up_, bias_down_;
};

}  // namespace drivers::emulated
