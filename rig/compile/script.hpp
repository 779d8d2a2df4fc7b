#pragma once

#include <optional>
#include <vector>

#include "rig/compile/plan.hpp"

namespace rig {

/// Writes segments: steps say what the engine does ("180 kPa, 3500 rpm"), the script turns it into set-points of the
/// bench's ports and remembers what is set, from step to step. Set-points given before hold() or settle() take effect
/// at that segment's start, in the order given; `after()` moves the following ones later.
class Script {
 public:
  Script(const Product& product, const BenchSetup& bench, const TrackMap& tracks, Nanoseconds grid,
         std::uint32_t tick_rate);

  void battery(OutputState to);
  void rails(bool on);  ///< every 5 V rail at its nominal value, or grounded
  void rails_open();
  void sources(OutputState to);  ///< every pressure and temperature source
  void source(std::size_t pressure, OutputState to);
  void pressure(std::size_t channel, Kilopascals to);
  void temperature(Celsius to);  ///< nothing happens for a product without one
  void speed(Rpm to);
  void relay(std::optional<PortId> port, bool closed);      ///< nothing happens where the bench has no such relay
  void output(std::optional<PortId> port, OutputState to);  ///< any other output; nothing happens where there is none
  void exchange(Exchange conversation);
  // Linear courses, from what is set at that moment (`after`) on.
  void battery_ramp(Volts to, Nanoseconds duration);
  void rail(std::size_t which, OutputState to);
  void rail_ramp(std::size_t which, Volts to, Nanoseconds duration);
  void source_ramp(std::size_t pressure, Volts to, Nanoseconds duration);
  void pressure_ramp(std::size_t channel, Kilopascals to, Nanoseconds duration);
  void temperature_ramp(Celsius to, Nanoseconds duration);
  void temperature_source_ramp(Volts to, Nanoseconds duration);
  /// From the present speed to another at a constant rate; holds it there from then on.
  void speed_ramp(Rpm to, Nanoseconds duration);
  /// The same, for a course in which the next piece follows at once: nothing holds the speed at its end.
  void speed_piece(Rpm to, Nanoseconds duration);
  /// Records a track that does not run throughout, from here to the end of the segment being written, or for a while.
  void record(TrackId track);
  void record(TrackId track, Nanoseconds length);
  void after(Nanoseconds delay) { at_ = delay; }

  /// What an until-segment waits for.
  enum class Wait {
    inputs,  ///< the bench's own sources only
    inputs_and_outputs
  };
  /// A segment of fixed length (rounded up to the bench's grid).
  void hold(std::vector<Segment>& into, Nanoseconds length);
  /// A segment that ends when the lines have settled. Its earliest end allows for the product's latency after the last
  /// of the changes that were made, relays at rest, for a shift that is still growing after a start, a released bypass
  /// or a sensor that is back within its rails, and for two falling edges of the speed signal to be seen.
  void settle(std::vector<Segment>& into, Wait wait = Wait::inputs_and_outputs);
  /// The same segment with the longest latency it could need, for playing it again out of order.
  Segment alone(const Segment& segment, Rpm at_speed) const;

  const Product& product() const { return *product_; }
  const BenchSetup& bench() const { return *bench_; }
  const TrackMap& tracks() const { return *tracks_; }
  Nanoseconds bound() const { return bound_; }
  Rpm present_speed() const { return speed_; }

 private:
  void add(Action action);
  void ramp(PortId port, Volts to, Nanoseconds duration);
  std::uint64_t ticks_of(Nanoseconds duration) const;
  void note_jump(double volts_from, double volts_to);
  void note_supply(char& present, bool on);
  void grows_for(Nanoseconds duration);
  bool valid(std::size_t pressure, double volts) const;
  void rest_speed_line();
  Segment& push(std::vector<Segment>& into);
  Nanoseconds speed_latency(Rpm from, Rpm to) const;
  Nanoseconds latency_of_chain(Nanoseconds speed_latency) const;
  Nanoseconds grid_up(Nanoseconds d) const;
  SettleCondition condition(TrackId track, bool module_output) const;

  const Product* product_;
  const BenchSetup* bench_;
  const TrackMap* tracks_;
  Nanoseconds grid_;
  std::uint32_t tick_rate_;  ///< of the bench's base clock: how long speed pieces last
  std::vector<Event> events_;
  std::vector<Window> windows_;
  Nanoseconds at_{0};
  Nanoseconds last_change_{0};  ///< when the last of what was changed in this segment is over
  std::uint32_t next_id_ = 1;
  // What is set at present.
  std::vector<double> line_volts_;  ///< per pressure, then temperature
  Rpm speed_{0}, speed_before_{0};
  double jump_ = 0;  ///< largest step of a line's voltage in the segment being written
  bool speed_changed_ = false;
  char battery_on_ = false;
  std::vector<char> rails_on_;
  Nanoseconds growing_until_{0};  ///< from the start of the segment being written: the shift is whole from then on
  Nanoseconds bound_{0};
};

/// Time between falling edges, at most, at a speed; the zero-speed answer is zero.
Nanoseconds longest_interval(const Wheel& wheel, Rpm speed);

}  // namespace rig
