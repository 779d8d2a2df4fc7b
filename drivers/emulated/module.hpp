#pragma once

#include <array>
#include <cstdint>
#include <deque>
#include <optional>
#include <vector>

#include "drivers/emulated/module_failsafe.hpp"
#include "drivers/emulated/module_speed.hpp"
#include "drivers/emulated/module_table.hpp"
#include "drivers/emulated/noise.hpp"
#include "drivers/emulated/unit_build.hpp"
#include "rig/core/product.hpp"

namespace drivers::emulated {

// The program's units. A voltage is a fraction of its 5 V rail, a pressure 64ths of 0.1 kPa, a temperature 64ths of a
// degree.
inline constexpr int kFractionBits = 20;
inline constexpr std::int64_t kWholeRail = std::int64_t{1} << kFractionBits;
inline constexpr double kPressureUnits = 640, kTemperatureUnits = 64;

/// What the module finds at its pins.
struct Pins {
  double battery = 0;
  std::vector<double> rails;       ///< V, per rail, at its controller's side
  std::vector<double> lines;       ///< V, per pressure and then the temperature
  std::vector<double> line_rails;  ///< V, the 5 V rail of each line at its sensor's side
  bool bypass_requested = false;
  bool grounded = true;     ///< its ground has a way to zero
  bool fed_anyway = false;  ///< it has none, but the battery is there
  bool moved = true;        ///< something here differs from what was handed in last
};

/// The emulated module: power, boot, sampling, its program in integer arithmetic, its failsafe, its relay. It owns no
/// voltage and no time: run() is called at next(), with what its pins carry then.
class Module {
 public:
  /// What has changed in a call of run().
  struct Changes {
    bool outputs = false, contacts = false, current = false;
  };
  Module(const rig::Product& product, UnitBuild build, std::uint64_t seed, std::int64_t tick_ns);

  std::int64_t next() const;
  /// Only while this holds does run() look at the lines' voltages.
  bool working() const { return state_ == State::working; }
  Changes run(std::int64_t now, const Pins& pins);
  /// Its program stands still from now on: outputs stay, nothing is answered, until its watchdog has had enough.
  void hang(std::int64_t now);
  void take_falling_edge(std::uint64_t tick, rig::FixedAngle angle) { speed_.take_falling(tick, angle); }

  const UnitBuild& build() const { return build_; }
  double output(std::size_t channel) const { return channels_[channel].volts; }  ///< what its filter works towards
  bool bypass_closed() const { return contact_ != Contact::pulled; }
  bool output_connected() const { return contact_ != Contact::released && !gap_; }
  double current() const { return current_; }
  /// A line without a shift that the module drives anew (the temperature) stands behind the pressures' channels.
  bool drives(std::size_t line) const { return line < channels_.size(); }

 private:
  enum class State { off, booting, working, hanging };
  enum class Contact { released, both, pulled };  ///< of the bypass relay: make before break
  struct Channel {
    const rig::PressureChannel* product;  ///< nothing: passes on
    ModuleCurve to_pressure, to_fraction;
    std::optional<ModuleTable> shift;
    std::size_t index_pressure = 0;
    std::optional<ModuleTable> derate;
    std::int64_t low_rail = 0, high_rail = 0;  ///< fractions
    std::int64_t lowest = 0, highest = 0;      ///< reported pressures
    std::int64_t fraction = 0;                 ///< filtered input
    std::int64_t valid = 0;                    ///< ... as it was when the input was last within its rails
    std::int64_t played = 0;                   ///< pressure, behind the backlash
    double volts = 0;
  };
  void power(std::int64_t now, const Pins& pins, Changes& changes);
  void draw(std::int64_t now);
  void stop(State into, std::int64_t now, Changes& changes);
  void start_working(std::int64_t now, const Pins& pins);
  void lose_ground(std::int64_t now, bool floats, Changes& changes);
  double redriven(double volts, double rail) const;
  void energise(bool on, std::int64_t now);
  void drop_out(std::int64_t now, Changes& changes);
  void move_contact(std::int64_t now, Changes& changes);
  void work_relay(std::int64_t now, const Pins& pins, Changes& changes);
  bool sample(const Pins& pins);
  bool sample_pressures(const Pins& pins);
  bool faulty() const;
  std::int64_t reckoned_speed(std::int64_t now);
  bool whole(std::int64_t now) const;
  std::int64_t convert(double volts, double rail) const;
  bool shifts(const Channel& channel, std::int64_t now) const;
  std::int64_t shift_of(std::size_t channel, std::int64_t now) const;
  std::int64_t reported(std::size_t channel, std::int64_t now);
  double output_volts(std::size_t channel, std::int64_t fraction, const Pins& pins, std::int64_t now) const;
  double drift_volts(std::size_t channel, const Pins& pins, std::int64_t now) const;
  bool at_rail(const Channel& channel) const {
    return channel.fraction <= channel.low_rail || channel.fraction >= channel.high_rail;
  }

  const rig::Product& product_;
  UnitBuild build_;
  std::uint64_t seed_;
  Chance noise_;
  ModuleSpeed speed_;
  ModuleFailsafe failsafe_;
  std::vector<Channel> channels_;
  std::optional<ModuleCurve> to_temperature_;
  std::int64_t tick_ns_;
  std::int64_t filter_share_ = 65536;  ///< of the way to the new value in one sample, times 65536

  State state_ = State::off;
  std::int64_t next_sample_, started_ = 0, ready_ = 0, shifts_from_ = 0, glitch_until_ = 0;
  std::int64_t engine_speed_ = 0, temperature_ = 0, temperature_fraction_ = -1;
  std::int64_t coldest_ = 0, warmest_ = 0;  ///< beyond them a temperature is not believed
  std::deque<std::int64_t> past_speeds_;    ///< one a sample, as far back as the speed it reckons with
  bool supplied_ = false, faulty_ = false;
  int starts_ = 0;  ///< since the session began
  bool tenth_start_ = false;
  bool floats_ = false;    ///< without a ground
  double pull_share_ = 0;  ///< how far the controller's pull-up lifts the temperature's output stage, of what is left
  bool restless_ = false;  ///< its outputs move though nothing at its pins does
  bool settled_ = false;   ///< the last sample changed nothing
  bool coil_ = false;
  Contact contact_ = Contact::released;
  bool gap_ = false;  ///< its contact to the outputs is open, though the relay has pulled
  std::int64_t contact_due_, spike_until_ = 0, inrush_until_ = 0;
  double current_ = 0;
};

}  // namespace drivers::emulated
