#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "drivers/emulated/circuit.hpp"
#include "drivers/emulated/current_limit.hpp"
#include "drivers/emulated/fault_bus.hpp"
#include "drivers/emulated/line.hpp"
#include "drivers/emulated/net.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// Battery, 5 V rails and the module's ground as one net, with their switches. What the lines' pull-ups take out of a
/// rail that its supply drives is left out, a milliampere in its 50 milliohm, unless the fault bus joins all: then this
/// is the net in whose terms everything is solved, and the supplies' limits are watched.
class SupplyNet final : private Guardian {
 public:
  SupplyNet(const rig::BenchSetup& setup, const rig::Product& product, const UnitBuild& build,
            const std::vector<BenchTrouble>& troubles);
  SupplyNet(const SupplyNet&) = delete;
  SupplyNet& operator=(const SupplyNet&) = delete;

  Net& net() { return net_; }
  std::size_t rails() const { return wiring_.size(); }
  /// Nothing: the bench is not wired for this rail of the product's.
  const rig::RailWiring* wiring(std::size_t rail) const { return wiring_[rail]; }
  static Driver driver(std::size_t rail) { return rail == 0 ? kRail : kRailTwo; }
  std::optional<std::size_t> sense(rig::PortId port) const;

  /// All of these take effect at an instant the net has been advanced to, with rebuild().
  void drive_source(std::size_t rail, bool driven) { supplies_[rail].driven = driven; }
  bool open(std::size_t rail) const { return wiring_[rail] && !supplies_[rail].driven; }
  /// What feeds an open rail: siemens, 0 where nothing does. True if that is something new.
  bool set_back_feed(std::size_t rail, double siemens);
  void set_isolator(bool closed) { isolator_ = closed; }
  /// True if the relay is one of a rail's.
  bool set_relay(rig::PortId relay, bool closed);
  void set_wires(const FaultBus& faults);
  /// True if the port is one of the supplies. The smaller of this and its own limit counts; 0: its own.
  bool limit_supply(rig::PortId port, double amperes);
  void rebuild();

  /// From now on somebody else solves the net, with every line; nothing: on its own again, with rebuild().
  void join(Joiner* joiner);
  /// The network as its switches stand, without lines and bus.
  const Circuit& circuit() const { return circuit_; }
  void take(SolvedCircuit solved);
  const SolvedCircuit& solved() const { return solved_; }
  /// Goes over to another piece if a supply has come to its limit or left it. True: solve it again.
  bool change_piece();
  /// Calls limited(port, how long) for each supply: the longest that it has given all it can since the last call.
  template <class F>
  void take_longest_limited(std::int64_t now, F&& limited) {
    for (Supply& supply : supplies_) {
      if (supply.port) limited(*supply.port, supply.limit.take_longest(now));
    }
  }

  Line::Surroundings surroundings(std::size_t rail) const;
  /// The module's pins of a rail against its ground.
  const Mixture& controller_pin(std::size_t rail) const { return controller_pins_[rail]; }
  const Mixture& sensor_pin(std::size_t rail) const { return sensor_pins_[rail]; }
  /// The module's battery pin against the bench's zero.
  const Mixture& battery_pin() const { return solved_.battery; }
  /// The module's ground has a way to zero.
  bool grounded() const { return ground_wire_.has_value(); }

 private:
  struct Supply {
    std::optional<rig::PortId> port;
    double ohms = 0, port_limit = 0;
    bool driven = false, sinks = false;
    CurrentLimit limit;
  };
  void fit_supply(const std::optional<rig::PortId>& port);
  void feed(const Supply& supply, double back_feed, SupplyFeed& feed) const;
  Mixture amperes(std::size_t supply) const;
  std::vector<Guard> make_guards(std::vector<std::size_t>& of) const;
  void guard_passed() override;

  const rig::BenchSetup& setup_;
  std::vector<const rig::RailWiring*> wiring_;
  Net net_;
  Circuit circuit_;
  SolvedCircuit solved_;
  std::vector<Mixture> controller_pins_, sensor_pins_;
  std::vector<std::optional<rig::PortId>> senses_;  ///< two per rail, the ground's, the battery's two
  std::vector<Supply> supplies_;                    ///< per rail, then the battery
  std::vector<std::size_t> guarded_;                ///< which of them each guard is of
  std::vector<double> contact_ohms_, sensors_ohms_, back_feed_;
  std::vector<char> sensors_closed_;
  double ground_ohms_ = 0;
  std::optional<double> ground_wire_ = 0;  ///< the break, or what is worn in its place
  bool isolator_ = true;
  Joiner* joiner_ = nullptr;
};

}  // namespace drivers::emulated
