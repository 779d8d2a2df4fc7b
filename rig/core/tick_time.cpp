#include "rig/core/tick_time.hpp"

namespace rig {
namespace {

__extension__ using Wide = __int128;
constexpr std::int64_t kSecond = 1'000'000'000;

}  // namespace

std::int64_t nearest_tick(BenchTime at, std::uint32_t rate) {
  const std::int64_t ns = at.since_start().count();
  if (kSecond % rate == 0) return (ns + kSecond / rate / 2) / (kSecond / rate);
  return static_cast<std::int64_t>((Wide{ns} * rate + kSecond / 2) / kSecond);
}

std::int64_t first_tick_from(BenchTime at, std::uint32_t rate) {
  const std::int64_t tick = nearest_tick(at, rate);
  return time_of_tick(tick, rate) < at ? tick + 1 : tick;
}

BenchTime time_of_tick(std::int64_t tick, std::uint32_t rate) {
  if (kSecond % rate == 0) return BenchTime{Nanoseconds{tick * (kSecond / rate)}};
  return BenchTime{Nanoseconds{static_cast<std::int64_t>((Wide{tick} * kSecond + rate / 2) / rate)}};
}

}  // namespace rig
