#pragma once

#include <cstdint>
#include <optional>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "drivers/emulated/current_limit.hpp"
#include "drivers/emulated/fault_bus.hpp"
#include "drivers/emulated/net.hpp"
#include "drivers/emulated/network.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

/// Who solves nets that the fault bus joins. All of them stand at the same instant when it is called.
class Joiner {
 public:
  virtual void solve_together() = 0;        ///< an element or a piece of one of them has changed
  virtual void find_pieces_together() = 0;  ///< a drive has, or a guard was passed

 protected:
  ~Joiner() = default;
};

/// One pressure or temperature line with all that hangs on it, from the source to the controller. Diodes and the
/// source's current limit are linear in pieces: the line watches where one piece ends and goes on with the next.
class Line final : private Guardian {
 public:
  /// Where the switches stand that the line shares with others or that the module works.
  struct Switches {
    bool isolator = true, loop_back = false;
    bool bypass = true, output = false;  ///< the module's contacts
  };
  /// What the line's 5 V rail and the module's ground are made of.
  struct Surroundings {
    Mixture rail = only(kRail), module_rail = only(kRail), ground{};
  };
  /// `number` counts the product's pressures, then its temperature.
  Line(const rig::BenchSetup& setup, const rig::LineWiring& wiring, const rig::Product& product, std::size_t number,
       const UnitBuild& build, const std::vector<BenchTrouble>& troubles = {});
  Line(const Line&) = delete;
  Line& operator=(const Line&) = delete;

  Net& net() { return net_; }
  const rig::LineWiring& wiring() const { return *wiring_; }
  std::size_t rail() const { return rail_; }
  std::size_t sense_in() const { return 0; }
  std::size_t sense_out() const { return 1; }

  /// All of these take effect at an instant the net has been advanced to.
  /// False: high impedance. True if rebuild() must follow.
  bool drive_source(bool driven) {
    const bool other = driven_ != driven || network_.source != (driven ? std::optional{source_ohms_} : std::nullopt);
    driven_ = driven;
    return other;
  }
  void set_source_ohms(double ohms) { source_ohms_ = ohms; }
  void limit_source(double amperes);  ///< the smaller of this and the port's own limit counts; 0: the port's own
  void set_wires(const FaultBus& faults);
  /// True if the relay is one of the line's loads.
  bool set_load(rig::PortId relay, bool closed);
  void set_surroundings(const Surroundings& surroundings);
  void rebuild(const Switches& switches);  ///< after any of the above, or when a shared switch has moved
  void changed();                          ///< after a drive of the net was changed

  /// From now on somebody else solves the line, with others; nothing: on its own again, with rebuild().
  void join(Joiner* joiner);
  const LineNetwork& network() const { return network_; }
  void take(const SolvedLine& solved, const Mixture& ground);
  /// Goes over to the next piece if it has left the one it is said to be in. True: solve it again.
  bool change_piece();

  /// The module's input pin against the module's ground.
  double module_pin(std::int64_t at);
  /// Siemens with which the line hangs on its 5 V rail, and the amperes it gives back there once all drives have
  /// arrived: now and per nanosecond.
  double draws_from_rail() const { return solved_.draws_from_rail; }
  double feeds_rail() const;
  double feeds_rail_rise() const;
  /// The longest that the source has been giving or taking all it can since the last call.
  std::int64_t take_longest_limited(std::int64_t now) { return limit_.take_longest(now); }

 private:
  struct LoadSwitch {
    std::optional<rig::PortId> relay;
    std::optional<double> pull_up, pull_down;  ///< with the relay's contact
    bool closed = false;
  };
  enum class Clamp { none, high, low };
  void fit_loads(const rig::BenchSetup& setup, const rig::Product& product, std::size_t number);
  void fit_senses(const rig::BenchSetup& setup, const std::vector<BenchTrouble>& troubles);
  void choose_pieces();
  void solve_alone();
  void show();
  std::vector<Guard> make_guards();
  void find_pieces();
  void guard_passed() override { find_pieces(); }

  const rig::LineWiring* wiring_;
  Net net_;
  LineNetwork network_;
  SolvedLine solved_{};
  Mixture pin_{};  ///< the module's input pin against its ground
  Joiner* joiner_ = nullptr;
  std::size_t rail_ = 0;
  bool source_side_sense_ = false, driven_ = false;
  bool straight_ = false, has_bypass_ = true;
  double source_ohms_ = 100, source_leakage_ = 0, loop_back_ohms_ = 0;
  double contact_in_ohms_ = 0, contact_out_ohms_ = 0, through_ohms_ = 1, output_ohms_ = 47;
  LoadSwitch loads_[2];

  std::optional<double> clamp_ohms_;
  double port_limit_ = 0;  ///< A; 0: not limited
  bool sinks_ = false;
  Clamp clamp_ = Clamp::none;
  CurrentLimit limit_;
};

}  // namespace drivers::emulated
