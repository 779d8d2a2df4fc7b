#include "drivers/emulated/module_speed.hpp"

#include <cmath>

namespace drivers::emulated {

namespace {
constexpr std::int64_t kPerDegree = 1000;
}

ModuleSpeed::ModuleSpeed(const rig::Wheel& wheel, std::uint32_t tick_rate, double time_out_intervals)
    : tick_rate_{static_cast<std::int64_t>(tick_rate)} {
  const double longest = wheel.longest_falling_interval().value();
  look_back_ = std::llround(2 * longest * kPerDegree) + 1;
  // An interval of d degrees at s / 16 rpm lasts d / 6 * 16 / s seconds.
  time_out_ticks_ = time_out_intervals * longest / 6 * static_cast<double>(kUnits) * static_cast<double>(tick_rate);
}

void ModuleSpeed::forget() { speed_ = 0, count_ = 0; }

void ModuleSpeed::take_falling(std::uint64_t tick, rig::FixedAngle angle) {
  at(tick);
  const auto millidegrees = static_cast<std::int64_t>((static_cast<double>(angle) * kPerDegree) / 4294967296.0 + 0.5);
  edges_[next_] = {tick, millidegrees};
  next_ = (next_ + 1) % kKept;
  if (count_ < kKept) ++count_;
  if (count_ < 2) return;
  // The oldest edge that lies within the stretch looked back over; the one before at least.
  std::size_t back = 1;
  while (back + 1 < count_) {
    const Edge& older = edges_[(next_ + kKept - 2 - back) % kKept];
    if (millidegrees - older.millidegrees > look_back_) break;
    ++back;
  }
  const Edge& from = edges_[(next_ + kKept - 1 - back) % kKept];
  const auto ticks = static_cast<std::int64_t>(tick - from.tick);
  if (ticks <= 0) return;
  speed_ = ((millidegrees - from.millidegrees) * tick_rate_ / ticks * kUnits + 3 * kPerDegree) / (6 * kPerDegree);
  if (speed_ < 1) speed_ = 1;
  stands_at_ = tick + static_cast<std::uint64_t>(time_out_ticks_ / static_cast<double>(speed_));
}

}  // namespace drivers::emulated
