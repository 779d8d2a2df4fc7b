#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "drivers/emulated/line.hpp"
#include "drivers/emulated/net.hpp"
#include "drivers/emulated/rails.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// The 5 V rails and the module's ground as one net, with their switches. What the lines' pull-ups take out of a rail
/// that its supply drives is left out: a milliampere in its 50 milliohm.
class SupplyNet {
 public:
  SupplyNet(const rig::BenchSetup& setup, const rig::Product& product, const UnitBuild& build,
            const std::vector<BenchTrouble>& troubles);

  Net& net() { return net_; }
  std::size_t rails() const { return wiring_.size(); }
  /// Nothing: the bench is not wired for this rail of the product's.
  const rig::RailWiring* wiring(std::size_t rail) const { return wiring_[rail]; }
  static Driver driver(std::size_t rail) { return rail == 0 ? kRail : kRailTwo; }
  std::optional<std::size_t> sense(rig::PortId port) const;

  /// All of these take effect at an instant the net has been advanced to, with rebuild().
  void drive_source(std::size_t rail, bool driven) { driven_[rail] = driven; }
  bool open(std::size_t rail) const { return wiring_[rail] && !driven_[rail]; }
  /// What feeds an open rail: siemens, 0 where nothing does. True if that is something new.
  bool set_back_feed(std::size_t rail, double siemens);
  void set_isolator(bool closed) { isolator_ = closed; }
  /// True if the relay is one of a rail's or the ground's.
  bool set_relay(rig::PortId relay, bool closed);
  void rebuild();

  Line::Surroundings surroundings(std::size_t rail) const;
  /// The module's pins of a rail against its ground.
  const Mixture& controller_pin(std::size_t rail) const { return controller_pins_[rail]; }
  const Mixture& sensor_pin(std::size_t rail) const { return sensor_pins_[rail]; }
  /// The module's ground has a way to zero.
  bool grounded() const { return grounded_; }

 private:
  const rig::BenchSetup& setup_;
  std::vector<const rig::RailWiring*> wiring_;
  Net net_;
  RailsNetwork network_;
  SolvedRails solved_;
  std::vector<Mixture> controller_pins_, sensor_pins_;
  std::vector<std::optional<rig::PortId>> senses_;  ///< two per rail, then the ground's
  std::vector<double> source_ohms_, contact_ohms_, sensors_ohms_, back_feed_;
  std::vector<char> driven_, sensors_closed_;
  double ground_ohms_ = 0;
  bool isolator_ = true, grounded_ = true;
};

}  // namespace drivers::emulated
