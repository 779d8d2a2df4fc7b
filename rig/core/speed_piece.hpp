#pragma once

#include <cstdint>
#include <optional>
#include <string>

#include "rig/core/quantity.hpp"
#include "rig/core/wheel.hpp"

namespace rig {

/// A piece of a speed profile: it starts at a speed, changes it at a constant rate, and lasts a number of ticks or
/// stays open (then the rate is 0). Integer units, so that every implementation of the wire protocol means the same.
struct SpeedPiece {
  std::int32_t millirpm = 0;             ///< speed at the piece's start, >= 0
  std::int32_t millirpm_per_second = 0;  ///< constant acceleration; 0 in an open piece
  std::optional<std::uint64_t> ticks;    ///< length; nothing: until the next piece
  friend bool operator==(const SpeedPiece&, const SpeedPiece&) = default;
};

/// Why a bench cannot play this piece at this tick rate, in words, or nothing. Keeps the arithmetic below inside 128
/// bits: speeds to 100,000 rpm, rates to 1,000,000 rpm/s, tick rates to 200 MHz, pieces of a day at most, 1000 s when
/// they accelerate.
std::optional<std::string> speed_piece_problem(const SpeedPiece& piece, std::uint32_t tick_rate);

/// Angle turned since the piece's start after `ticks` of `tick_rate` per second:
///   v = millirpm, a = millirpm_per_second, f = tick_rate:
///   angle [2^-32 crank degree] = floor( 2^32 * 6 * (2 v n f + a n^2) / (2000 f^2) ),
/// reckoned exactly in 128 bit integers (1 rpm is 6 crank degrees a second). A piece whose speed would pass through
/// zero stops there: the angle of the turning point holds for all later ticks.
/// REQUIRES: no speed_piece_problem; n inside the piece, or, in an open one, within a day.
FixedAngle angle_after(const SpeedPiece& piece, std::uint64_t ticks, std::uint32_t tick_rate);

/// The tick, counted from the piece's start, at which `angle` (counted from the piece's start, > 0) is reached, rounded
/// to nearest, ties up; nothing if it never is (standstill, or the engine stops first). In closed form from the piece's
/// own start:
///   t = 2 theta / (w0 + sqrt(w0^2 + 2 a theta)).
std::optional<std::uint64_t> tick_of_angle(const SpeedPiece& piece, FixedAngle angle, std::uint32_t tick_rate);

/// Speed after `ticks`, in rpm; never below zero.
Rpm speed_after(const SpeedPiece& piece, std::uint64_t ticks, std::uint32_t tick_rate);

/// The same edge arithmetic in plain units: when an angle is reached from speed `start` at acceleration `rate`.
/// Nothing if it never is. REQUIRES: angle >= 0, start >= 0.
std::optional<Nanoseconds> time_of_angle(CrankDegrees angle, Rpm start, RpmPerSecond rate);

/// One edge as it leaves a pulse output.
struct PulseEdge {
  std::uint64_t tick;  ///< absolute, since the generator was started
  bool rising;
};

/// Plays speed pieces over a wheel: angle continuous from piece to piece, edges in closed form from each piece's own
/// start, so nothing adds up over millions of edges. It starts at angle 0, at standstill, at the level the wheel has
/// there; an edge at angle 0 itself has already passed. A piece that has run its length without a successor goes on at
/// the speed it reached (whole millirpm, rounded down). Pure state machine; the owner supplies time.
class PulseGenerator {
 public:
  PulseGenerator(const Wheel& wheel, std::uint32_t tick_rate);  ///< the wheel must outlive it
  /// Ends the present piece at `tick` and starts another there. REQUIRES: tick >= every tick given before; no
  /// speed_piece_problem.
  void start_piece(std::uint64_t tick, const SpeedPiece& piece);
  /// The next edge at a tick < `before`, or nothing. An edge on the very tick of a new piece belongs to the new piece.
  std::optional<PulseEdge> next_before(std::uint64_t before);
  FixedAngle angle_at(std::uint64_t tick) const;  ///< absolute; tick >= present piece's start
  Rpm speed_at(std::uint64_t tick) const;
  bool level() const { return level_; }

 private:
  std::uint64_t piece_end() const;
  SpeedPiece successor() const;
  void schedule();
  const Wheel* wheel_;
  std::uint32_t tick_rate_;
  SpeedPiece piece_{};
  std::uint64_t piece_start_ = 0;
  FixedAngle start_angle_ = 0;
  std::size_t next_edge_ = 0;               ///< in the wheel's list
  FixedAngle cycle_angle_ = 0;              ///< where the next edge's cycle begins
  std::optional<std::uint64_t> next_tick_;  ///< when it comes in this piece
  bool level_ = false;
};

}  // namespace rig
