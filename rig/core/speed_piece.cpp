#include "rig/core/speed_piece.hpp"

#include <algorithm>
#include <cassert>
#include <cmath>
#include <limits>

namespace rig {
namespace {

__extension__ using Wide = __int128;  // both compilers have it on every machine we build for

// angle = 2^32 * 6 * (2 v n f + a n^2) / (2000 f^2) = kNumerator * (2 v n f + a n^2) / (kDenominator f^2), in lowest
// terms.
constexpr std::int64_t kNumerator = std::int64_t{3} << 29;
constexpr std::int64_t kDenominator = 125;

/// floor(numerator * q / d) for numerator * q beyond 128 bits. REQUIRES: q >= 0, d > 0.
FixedAngle scaled(Wide q, Wide d) {
  const Wide whole = q / d, rest = q % d;
  return static_cast<FixedAngle>(whole * kNumerator + rest * kNumerator / d);
}

/// How the speed stands `half_ticks` half ticks after the start of a piece: its sign.
int direction(const SpeedPiece& piece, Wide half_ticks, std::uint32_t tick_rate) {
  const Wide speed = Wide{2} * piece.millirpm * tick_rate + piece.millirpm_per_second * half_ticks;
  return speed < 0 ? -1 : speed > 0 ? 1 : 0;
}

/// Is `angle` reached at or after `half_ticks` half ticks, on the exact curve? REQUIRES: it is reached at some time.
bool reached_from(const SpeedPiece& piece, FixedAngle angle, std::uint64_t half_ticks, std::uint32_t tick_rate) {
  const Wide v = piece.millirpm, a = piece.millirpm_per_second, f = tick_rate, m = half_ticks;
  if (a == 0) return Wide{angle} * kDenominator * f >= kNumerator * v * m;
  if (direction(piece, m, tick_rate) < 0) return false;  // it has turned by then
  return Wide{angle} * (4 * kDenominator * f) * f >= kNumerator * m * (4 * v * f + a * m);
}

}  // namespace

std::optional<std::string> speed_piece_problem(const SpeedPiece& piece, std::uint32_t tick_rate) {
  constexpr std::int32_t kFastest = 100'000'000, kSteepest = 1'000'000'000;  // millirpm, millirpm a second
  const std::int32_t v = piece.millirpm, a = piece.millirpm_per_second;
  if (tick_rate < 1'000 || tick_rate > 200'000'000) return "the tick rate is not within 1 kHz to 200 MHz";
  if (v < 0) return "a speed piece cannot start at a negative speed";
  if (v > kFastest) return "a speed piece cannot start above 100000 rpm";
  if (a > kSteepest || a < -kSteepest) return "a speed piece cannot change by more than 1000000 rpm/s";
  if (!piece.ticks) {
    if (a != 0) return "an open speed piece cannot accelerate";
    return std::nullopt;
  }
  if (*piece.ticks > std::uint64_t{tick_rate} * (a == 0 ? 86'400 : 1'000)) {
    return a == 0 ? "a speed piece cannot be longer than a day" : "a ramp of speed cannot be longer than 1000 s";
  }
  if (v + static_cast<double>(a) * static_cast<double>(*piece.ticks) / tick_rate > kFastest) {
    return "a speed piece cannot end above 100000 rpm";
  }
  // What does not fit the fixed-point angle is more than 2.9 million engine cycles.
  if (v / 1000.0 * 6 * static_cast<double>(*piece.ticks) / tick_rate > 1e9) return "a speed piece turns too far";
  return std::nullopt;
}

FixedAngle angle_after(const SpeedPiece& piece, std::uint64_t ticks, std::uint32_t tick_rate) {
  const Wide v = piece.millirpm, a = piece.millirpm_per_second, f = tick_rate, n = ticks;
  if (a == 0) return scaled(2 * v * n, kDenominator * f);
  if (direction(piece, 2 * n, tick_rate) <= 0) return scaled(v * v, kDenominator * -a);
  return scaled(n * (2 * v * f + a * n), kDenominator * f * f);
}

std::optional<std::uint64_t> tick_of_angle(const SpeedPiece& piece, FixedAngle angle, std::uint32_t tick_rate) {
  const std::int64_t v = piece.millirpm, a = piece.millirpm_per_second;
  if (angle <= 0) return 0;
  // Twice the angle, in millirpm seconds; and the square of the speed there, which says whether it is ever reached.
  const double turned_by = static_cast<double>(angle) * (static_cast<double>(kDenominator) / kNumerator);
  double speed_there = static_cast<double>(v);
  if (a != 0) {
    const Wide square = Wide{v} * v * kNumerator + Wide{a} * kDenominator * angle;
    if (square < 0) return std::nullopt;
    speed_there = std::sqrt(static_cast<double>(square) / kNumerator);
  }
  const double sum = static_cast<double>(v) + speed_there;
  if (!(sum > 0)) return std::nullopt;
  const double estimate = turned_by / sum * tick_rate;
  if (!(estimate < 9e17)) return std::nullopt;
  auto tick = static_cast<std::uint64_t>(std::floor(estimate + 0.5));
  // The estimate is good to a few units in its last place. Only where that could change the rounding is the exact curve
  // asked, in integers.
  const double fraction = estimate + 0.5 - static_cast<double>(tick);
  const double doubt = 1e-9 + estimate * 8 * std::numeric_limits<double>::epsilon();
  if (fraction > doubt && fraction < 1 - doubt) return tick;
  while (reached_from(piece, angle, 2 * tick + 1, tick_rate)) ++tick;
  while (tick > 0 && !reached_from(piece, angle, 2 * tick - 1, tick_rate)) --tick;
  return tick;
}

Rpm speed_after(const SpeedPiece& piece, std::uint64_t ticks, std::uint32_t tick_rate) {
  const double change = static_cast<double>(piece.millirpm_per_second) * static_cast<double>(ticks) / tick_rate;
  return Rpm{std::max(0.0, piece.millirpm + change) / 1000};
}

std::optional<Nanoseconds> time_of_angle(CrankDegrees angle, Rpm start, RpmPerSecond rate) {
  assert(angle >= CrankDegrees{0} && start >= Rpm{0});
  if (angle == CrankDegrees{0}) return Nanoseconds{0};
  const double degrees_per_second = start.value() * 6;
  const double square = degrees_per_second * degrees_per_second + 12 * rate.value() * angle.value();
  if (square < 0) return std::nullopt;
  const double sum = degrees_per_second + std::sqrt(square);
  if (!(sum > 0)) return std::nullopt;
  const double ns = 2e9 * angle.value() / sum;
  if (!(ns < 9e18)) return std::nullopt;
  return Nanoseconds{std::llround(ns)};
}

}  // namespace rig
