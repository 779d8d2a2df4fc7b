#include <algorithm>
#include <cassert>
#include <limits>

#include "rig/core/speed_piece.hpp"

namespace rig {
namespace {

__extension__ using Wide = __int128;
constexpr std::uint64_t kNever = std::numeric_limits<std::uint64_t>::max();

}  // namespace

PulseGenerator::PulseGenerator(const Wheel& wheel, std::uint32_t tick_rate) : wheel_{&wheel}, tick_rate_{tick_rate} {
  level_ = wheel.level_before_start();
  if (wheel.edges().front().angle == 0) {
    level_ = wheel.edges().front().rising;
    next_edge_ = 1;
  }
}

std::uint64_t PulseGenerator::piece_end() const {
  if (!piece_.ticks || *piece_.ticks > kNever - piece_start_) return kNever;
  return piece_start_ + *piece_.ticks;
}

SpeedPiece PulseGenerator::successor() const {
  const Wide reached = Wide{piece_.millirpm} * tick_rate_ + Wide{piece_.millirpm_per_second} * piece_.ticks.value_or(0);
  return {static_cast<std::int32_t>(std::max<Wide>(0, reached / tick_rate_)), 0, std::nullopt};
}

void PulseGenerator::start_piece(std::uint64_t tick, const SpeedPiece& piece) {
  assert(tick >= piece_start_ && !speed_piece_problem(piece, tick_rate_));
  start_angle_ = angle_at(tick);
  piece_start_ = tick;
  piece_ = piece;
  schedule();
}

void PulseGenerator::schedule() {
  const FixedAngle angle = cycle_angle_ + wheel_->edges()[next_edge_].angle - start_angle_;
  next_tick_ = tick_of_angle(piece_, angle, tick_rate_);
  if (next_tick_) *next_tick_ += piece_start_;
}

std::optional<PulseEdge> PulseGenerator::next_before(std::uint64_t before) {
  while (!next_tick_ || *next_tick_ >= std::min(before, piece_end())) {
    if (piece_end() >= before) return std::nullopt;
    start_piece(piece_end(), successor());
  }
  const PulseEdge edge{*next_tick_, wheel_->edges()[next_edge_].rising};
  level_ = edge.rising;
  if (++next_edge_ == wheel_->edges().size()) {
    next_edge_ = 0;
    cycle_angle_ += kFixedCycle;
  }
  schedule();
  return edge;
}

FixedAngle PulseGenerator::angle_at(std::uint64_t tick) const {
  const std::uint64_t in_piece = std::min(tick, piece_end()) - piece_start_;
  const FixedAngle angle = start_angle_ + angle_after(piece_, in_piece, tick_rate_);
  if (tick <= piece_end()) return angle;
  return angle + angle_after(successor(), tick - piece_end(), tick_rate_);
}

Rpm PulseGenerator::speed_at(std::uint64_t tick) const {
  if (tick > piece_end()) return speed_after(successor(), 0, tick_rate_);
  return speed_after(piece_, tick - piece_start_, tick_rate_);
}

}  // namespace rig
