#pragma once

#include "rig/core/bench_setup.hpp"
#include "rig/core/product.hpp"

/// What the bench itself makes of the speed line, by Ohm's law: which levels it reaches, and how well it can tell.
namespace rig {

struct SpeedCircuit {
  Volts supply;              ///< what the pull-up goes to, undisturbed
  Ohms pull_up;              ///< with its supply's and its switch's own resistance
  Ohms drain;                ///< the open drain's and the foot's, when it is on
  Ohms bleed;                ///< of all that the bench itself has on the line; 0: nobody has stated any
  Volts leaks{0};            ///< how far the bench's own leakage may move a line that nothing else holds
  Volts low_error{0};        ///< how well a low that was asked for is reached
  Volts high_error{0};       ///< ... and a high
  Nanoseconds shortest{0};   ///< of the wheel's levels, at 1 rpm
  Nanoseconds sense_lag{0};  ///< time constant of the slower of the two voltage senses
  Nanoseconds sense_period{0};

  /// The line's level when the drain is on and when it is off.
  Volts low(Volts foot) const;
  Volts high(Volts at_supply) const;
  /// What to set so that the line reaches a level.
  Volts foot_for(Volts low) const;
  Volts supply_for(Volts high) const;
  /// Through the pull-up, while the line is low.
  Amperes current(Volts foot) const;
  Nanoseconds shortest_level(Rpm speed) const;
};
SpeedCircuit speed_circuit(const Product& product, const BenchSetup& bench);

/// The level that raised lows are given and that lowered highs are given: as near to what the module must still
/// understand as the bench can come without overstepping it.
Volts raised_low(const Product& product, const SpeedCircuit& circuit);
Volts lowered_high(const Product& product, const SpeedCircuit& circuit);

/// How high a line may come up, with no pull-up on the bench's side, over what the module may leak.
Volts highest_without_pull_up(const Product& product, const SpeedCircuit& circuit);
/// How far the line's high level may be dragged down by what the module may draw.
Volts most_sag(const Product& product, const SpeedCircuit& circuit);

/// The least and the highest level of the line while its edges rise and fall with a time constant.
struct Swing {
  Volts low, high;
};
Swing slow_swing(const SpeedCircuit& circuit, Nanoseconds time_constant, Rpm speed);

/// The fastest speed at which the bench's slow and noisy edges still reach both of the levels that the module must
/// understand; 0 when there is none, or the bench has no such edges.
Rpm fastest_slow_speed(const Product& product, const BenchSetup& bench);

/// How far, at least, the bench's own edges wander once they are slow and noisy, in microseconds, peak to peak: a
/// quarter of what noise makes of the slope in the middle of an edge.
double least_wander_us(const Product& product, const BenchSetup& bench);

/// Expanded (k = 2) uncertainty of the resistance through the module, and of a level read as an extreme.
Ohms through_uncertainty(const Port& sense_in, const Port& sense_out, const SpeedCircuit& circuit);
Volts level_uncertainty(const Port& sense, Volts level);

}  // namespace rig
