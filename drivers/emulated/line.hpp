#pragma once

#include <cstdint>
#include <optional>

#include "drivers/emulated/net.hpp"
#include "drivers/emulated/network.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// One pressure or temperature line with all that hangs on it, from the source to the controller.
class Line {
 public:
  /// Where the switches stand that the line shares with others or that the module works.
  struct Switches {
    bool isolator = true, loop_back = false;
    bool bypass = true, output = false;  ///< the module's contacts
  };
  /// `number` counts the product's pressures, then its temperature.
  Line(const rig::BenchSetup& setup, const rig::LineWiring& wiring, const rig::Product& product, std::size_t number,
       const UnitBuild& build);

  Net& net() { return net_; }
  const rig::LineWiring& wiring() const { return *wiring_; }
  std::size_t rail() const { return rail_; }
  std::size_t sense_in() const { return 0; }
  std::size_t sense_out() const { return 1; }

  /// All of these take effect at an instant the net has been advanced to.
  void drive_source(bool driven);  ///< false: high impedance
  void set_source_ohms(double ohms) { source_ohms_ = ohms; }
  void set_fault_switch(bool closed) { fault_switch_closed_ = closed; }
  void set_load(bool closed) { load_closed_ = closed; }
  void rebuild(const Switches& switches);  ///< after any of the above, or when a shared switch has moved
  double module_pin(std::int64_t at) { return net_.at_pin(solved_.module_in, at); }

 private:
  const rig::LineWiring* wiring_;
  Net net_;
  LineNetwork network_;
  SolvedLine solved_{};
  std::size_t rail_ = 0;
  bool source_side_sense_ = false, driven_ = false, fault_switch_closed_ = true, load_closed_ = false;
  bool straight_ = false, has_bypass_ = true;
  double source_ohms_ = 100, fault_switch_ohms_ = 0, isolator_ohms_ = 0, loop_back_ohms_ = 0, load_ohms_ = 0;
  double bypass_ohms_ = 1, output_ohms_ = 47;
  std::optional<double> pull_up_, pull_down_;
};

}  // namespace drivers::emulated
