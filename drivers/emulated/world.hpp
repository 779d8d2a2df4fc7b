#pragma once

#include <cstdint>
#include <deque>
#include <memory>
#include <optional>
#include <vector>

#include "drivers/emulated/bench_trouble.hpp"
#include "drivers/emulated/fault_bus.hpp"
#include "drivers/emulated/instrument.hpp"
#include "drivers/emulated/line.hpp"
#include "drivers/emulated/module.hpp"
#include "drivers/emulated/service_port.hpp"
#include "drivers/emulated/speed_line.hpp"
#include "drivers/emulated/supply_net.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"
#include "rig/core/timeline.hpp"

namespace drivers::emulated {

/// Where a sense reads.
struct SensePlace {
  Net* net = nullptr;
  std::size_t sense = 0;
};

/// Everything electrical in one session: the bench's outputs, the wiring, the unit. Moves from event to event; each net
/// is left behind until it is needed. Times are nanoseconds since the session's start.
class World final : private Joiner {
 public:
  World(const rig::BenchSetup& setup, std::shared_ptr<const rig::Product> product, UnitBuild build,
        const std::vector<BenchTrouble>& troubles, std::int64_t tick_ns);
  World(const World&) = delete;
  World& operator=(const World&) = delete;

  /// Plays everything before `to`.
  void advance(std::int64_t to);
  /// Does what a timeline asks at an instant everything before which has been played. The action has been checked.
  void apply(std::int64_t at, const rig::Action& action);
  /// Supplies off, sources high impedance, pulses off, relays at rest.
  void make_safe(std::int64_t at);

  /// Slews of outputs are held to this; 0: not limited.
  void limit_slew(rig::PortId port, double volts_per_second) { outputs_[index(port)].slew = volts_per_second; }
  SensePlace sense(rig::PortId port);
  SpeedLine& speed() { return speed_; }
  ServiceWire& service() { return service_; }
  /// The sources and supplies that have been at their current limit since the last call: for longer than a make before
  /// break or a bounce takes, as a board's comparator with a filter tells.
  std::vector<rig::PortId> take_limited(std::int64_t now);

 private:
  struct Output {  ///< a supply or a source
    PortError error;
    double resolution = 0, tau = 0, slew = 0;
    double level = 0;      ///< V, commanded; where a ramp is going
    double ramp_rise = 0;  ///< V per ns
    std::int64_t ramp_end = 0;
    bool driven = false;
    bool exact = true;  ///< grounded, or off: no error
  };
  struct Pending {
    enum class What { contact, ramp_end, climate };
    std::int64_t at;
    rig::PortId port;
    What what;
    bool closed = false;  ///< what the contact becomes
  };
  void play_speed(std::int64_t to);
  void run_module(std::int64_t at);
  void read_pins(std::int64_t at);
  bool bypass_requested(std::int64_t at);
  bool read_pin(double& pin, Net& net, std::uint32_t& version, double value);
  void drive_outputs(std::int64_t at);
  void settle_pending();
  void set(std::int64_t at, rig::PortId port, const rig::OutputState& to);
  void ramp(std::int64_t at, rig::PortId port, double to, std::int64_t duration);
  void follow(std::int64_t at, rig::PortId port);
  void drive_rail(std::int64_t at, std::size_t rail, double volts, double rise);
  void command_relay(std::int64_t at, rig::PortId port, bool closed);
  void move_contact(std::int64_t at, rig::PortId port, bool closed);
  void set_current(std::int64_t at);
  void set_inside(std::int64_t at);
  void set_climate(std::int64_t at);
  void rewire(std::int64_t at);
  void rewire_supplies(std::int64_t at);
  void rebuild(Line& line, std::int64_t at);
  void feed_back(std::int64_t at);
  void schedule(Pending pending);
  template <class F>
  void each_net(F&& f);
  void rewire_faults(std::int64_t at);
  void join_nets(std::int64_t at);
  void part_nets(std::int64_t at);
  void keep_together(std::int64_t to);
  void share_drives();
  BusNetwork bus_network() const;
  void solve_once();
  bool settle_pieces();
  void show_bus_to_speed();
  void changed(Line& line) { joined_ ? line.net().changed() : line.changed(); }
  void solve_together() override;
  void find_pieces_together() override;

  const rig::BenchSetup& setup_;
  std::shared_ptr<const rig::Product> product_;
  Module module_;
  SpeedLine speed_;
  ServiceWire service_;
  std::deque<Line> lines_;      ///< in the wiring's order
  std::vector<Line*> line_at_;  ///< per pressure and then the temperature; may be missing
  SupplyNet supply_;
  Net standard_, opened_, room_, fixture_;
  FaultBus faults_;
  bool joined_ = false;   ///< the fault bus is in use: all nets are solved as one, and stand at the same instant
  bool solving_ = false;  ///< that is under way
  std::optional<SpeedNetwork::Pull> shown_;  ///< what the speed line takes the rest of the bus for
  std::int64_t speed_played_ = 0;            ///< its last change of which the bus was told
  std::vector<Output> outputs_;              ///< per port
  std::vector<char> stuck_;                  ///< per port: a relay that does not move
  std::vector<char> commanded_;              ///< per port: what a relay was last told
  std::vector<BenchTrouble> troubles_;
  std::vector<Pending> pending_;  ///< soonest first
  Line::Switches switches_;
  bool bypass_request_ = false, request_made_ = true;  ///< its relay; the wire
  Pins pins_;
  std::vector<std::uint32_t> seen_;  ///< version of each line's net, then the supplies'
  bool clamped_ = false;             ///< some line of the unit has diodes into the supply inside
  double inside_ = 0;                ///< V, of that supply
  std::vector<double> targets_;      ///< what each output stage was last told
};

}  // namespace drivers::emulated
