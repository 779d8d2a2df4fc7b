#include "drivers/emulated/speed_line.hpp"

namespace drivers::emulated {

namespace {
constexpr double kLow = 0.12;  // V of an open drain that is on; common practice, no source
}

SpeedLine::SpeedLine(const rig::SpeedLine& line, std::int64_t tick_ns, double sense_tau)
    : line_{&line}, tick_ns_{tick_ns} {
  net_.drive(kSource).level = line.pull_up_to.value();
  net_.add_sense(sense_tau, {1, 0, 0});
}

void SpeedLine::start_piece(std::int64_t at, const rig::SpeedPiece& piece) {
  if (!generator_) generator_.emplace(line_->wheel, static_cast<std::uint32_t>(1'000'000'000 / tick_ns_));
  generator_->start_piece(first_tick_at(at), piece);
  set_level(at, generator_->level());
}

void SpeedLine::release(std::int64_t at) {
  generator_.reset();
  set_level(at, true);
}

void SpeedLine::set_level(std::int64_t at, bool high) {
  if (!voltage_watched_) return;
  if (at > net_.now()) net_.advance(at);
  net_.drive(kSource).follow(high ? line_->pull_up_to.value() : kLow, 0, 0);
  net_.changed();
}

}  // namespace drivers::emulated
