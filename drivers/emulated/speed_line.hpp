#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <functional>
#include <optional>
#include <vector>

#include "drivers/emulated/falling_angles.hpp"
#include "drivers/emulated/fault_bus.hpp"
#include "drivers/emulated/net.hpp"
#include "drivers/emulated/noise.hpp"
#include "drivers/emulated/speed_network.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"
#include "rig/core/speed_piece.hpp"

namespace drivers::emulated {

/// The speed signal: an open drain that plays speed pieces over the product's wheel, pull-ups, the copper or the
/// module's own stage, and the three that look at the line: edges_in, the module's input, edges_out. Each decides with
/// two thresholds, so a level that does not reach them makes no edge and noise on a slow one may make several.
///
/// On a clean line an edge costs a few comparisons: levels and delays are reckoned whenever a switch moves. Only while
/// edges are slow or noise rides on the line is it followed from crossing to crossing.
class SpeedLine {
 public:
  /// Resistances of the fixture's contacts at the module's two pins, isolator included.
  struct Contacts {
    double in = 0, out = 0;
  };
  /// A tick is a whole number of nanoseconds.
  SpeedLine(const rig::BenchSetup& setup, const rig::Product& product, const SpeedBuild& build,
            const std::string& serial, Contacts contacts, std::int64_t tick_ns);

  /// Plays what happens before `to`.
  void advance(std::int64_t to);

  // All of these REQUIRE that everything before `at` has been played.
  void start_piece(std::int64_t at, const rig::SpeedPiece& piece);
  void release(std::int64_t at);  ///< the drain is off, no more edges
  struct Switches {
    bool isolator = false, loop_back = false;  ///< unit fitted; past the unit
    bool module_works = false;
    bool operator==(const Switches&) const = default;
  };
  void connect(std::int64_t at, const Switches& switches);
  /// True if the relay is one of the speed line's own.
  bool set_relay(std::int64_t at, rig::PortId relay, bool closed);
  /// What an output of the bench gives; nothing: high impedance. A ramp takes effect where it begins and ends.
  void set_output(std::int64_t at, rig::PortId port, std::optional<double> volts);
  void set_wires(std::int64_t at, const FaultBus& faults);
  bool on_bus() const { return network_.bus_in || network_.bus_out; }
  /// What is on the fault bus beside this line; nothing: nothing. Its voltage counts from now on.
  void set_bus(std::int64_t at, const std::optional<SpeedNetwork::Pull>& others);
  /// How the line looks from the bus as it stands now. REQUIRES: on_bus().
  SpeedNetwork::Pull seen_from_bus() const;
  /// Called, while the line is on the bus, at each instant at which it begins to look otherwise from there.
  void call_on_change(std::function<void(std::int64_t)> changed) { changed_ = std::move(changed); }
  /// The 5 V rail that the module's own pull-ups hang on.
  void set_rail(std::int64_t at, double volts);
  bool needs_rail() const { return needs_rail_; }

  struct Edge {
    std::uint64_t tick;
    bool rising;
  };
  /// Edges that nobody has taken yet, oldest first; some may lie a little ahead. Whoever records takes them.
  std::vector<Edge>& edges_in() { return edges_[kIn]; }
  std::vector<Edge>& edges_out() { return edges_[kOut]; }
  /// A falling edge as the module sees it, with the crank's angle as it has counted it.
  struct Fall {
    std::uint64_t tick;
    rig::FixedAngle angle;
  };
  /// Hands out those that have come before `to`, in order.
  template <class Take>
  void take_falls(std::int64_t to, Take&& take) {
    std::size_t taken = 0;
    while (taken < falls_.size() && time_of(falls_[taken].tick) < to) take(falls_[taken++]);
    falls_.erase(falls_.begin(), falls_.begin() + static_cast<std::ptrdiff_t>(taken));
  }

  Net& net() { return net_; }
  void watch_voltage() { voltage_watched_ = true; }
  static constexpr std::size_t kSenseIn = 0, kSenseOut = 1;

 private:
  enum Pin { kIn, kModule, kOut, kPins };
  struct Comparator {
    double lower = 0, upper = 0;
    bool high = false;
  };
  struct StageChange {  ///< of the module's own stage
    std::int64_t at;
    bool on;
  };
  std::uint64_t first_tick_at(std::int64_t at) const {
    return static_cast<std::uint64_t>((at + tick_ns_ - 1) / tick_ns_);
  }
  std::int64_t time_of(std::uint64_t tick) const { return static_cast<std::int64_t>(tick) * tick_ns_; }
  std::size_t state() const { return (drain_on_ ? 1u : 0u) + (stage_on_ ? 2u : 0u); }
  void tell_bus(std::int64_t at) {
    if (changed_ && on_bus()) changed_(at);
  }
  bool detailed() const { return slow_ || noisy_; }
  bool follows_drain(Pin pin) const { return pin != kOut || !regenerates_; }
  void rewire(std::int64_t at);
  SpeedNetwork network_now() const;
  void pull_down(SpeedNetwork& network, std::size_t state) const;
  void solve_all();
  void find_delays();
  void drain(std::int64_t at, bool on);
  void stage(std::int64_t at, bool on);
  void settle(std::int64_t at, bool delayed);
  void play_clean(std::int64_t to);
  void play_detail(std::int64_t to);
  std::int64_t pass(std::int64_t to);
  std::optional<std::int64_t> pass_pin(Pin pin, std::int64_t to);
  void turn_noise(std::int64_t at);
  void toggle(Pin pin, std::int64_t at, bool rising);
  void module_sees(std::int64_t at, std::uint64_t tick, bool rising);
  void begin_counting(std::int64_t at);
  void end_counting(std::int64_t at);
  void show(std::int64_t at);

  // What does not change.
  const rig::SpeedLine* line_;
  const rig::SpeedWiring* wiring_;
  SpeedBuild build_;
  Contacts contacts_;
  std::int64_t tick_ns_;
  Chance jitter_;
  SpeedNetwork network_;               ///< with what is fixed filled in
  std::optional<double> wire_in_ = 0;  ///< of the break on the sensor's side
  std::function<void(std::int64_t)> changed_;
  double drain_ohms_ = 0, pull_up_ohms_ = 0, loop_back_ohms_ = 0;
  double slow_tau_ = 0, noise_volts_ = 0;
  std::int64_t noise_half_ = 0;
  bool bench_pull_up_ = true, needs_rail_ = false;
  std::optional<double> module_pull_up_, out_pull_up_;  ///< ohm, at the module's input and output

  // How it stands.
  Switches switches_;
  bool pull_up_closed_ = true, slow_ = false, noisy_ = false, regenerates_ = false;
  std::optional<double> foot_, supply_;
  double rail_ = 0;
  bool drain_on_ = false, stage_on_ = false;
  std::array<std::array<SpeedLevel, kPins>, 4> levels_{};    ///< by drain + 2 * stage
  std::array<std::array<std::int64_t, 2>, kPins> delays_{};  ///< ns from a clean change to a falling, a rising edge
  std::array<Comparator, kPins> comparators_{};
  std::array<std::uint64_t, kPins> last_tick_{};
  std::deque<StageChange> coming_;  ///< of the stage, soonest first

  // While it is followed in detail.
  std::int64_t at_ = 0;
  std::array<double, kPins> volts_{};  ///< without noise
  double noise_now_ = 0;
  std::int64_t next_noise_ = 0;
  FallingAngles wheel_;
  std::int64_t counted_ = 0;          ///< the falling edge the module takes the last one for
  rig::FixedAngle angle_offset_ = 0;  ///< how far its angle has come to be off

  std::optional<rig::PulseGenerator> generator_;
  std::array<std::vector<Edge>, kPins> edges_;
  std::vector<Fall> falls_;
  Net net_;
  bool voltage_watched_ = false;
};

}  // namespace drivers::emulated
