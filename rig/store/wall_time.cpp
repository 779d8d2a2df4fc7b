#include "rig/store/wall_time.hpp"

#include <fmt/format.h>

#include <charconv>

namespace rig {
namespace {

using namespace std::chrono;

std::optional<int> number(std::string_view text, std::size_t from, std::size_t digits) {
  int value = 0;
  const char* begin = text.data() + from;
  const auto [end, error] = std::from_chars(begin, begin + digits, value);
  if (error != std::errc{} || end != begin + digits || value < 0) return std::nullopt;
  return value;
}

}  // namespace

WallTime wall_time_now() { return floor<milliseconds>(system_clock::now()); }

std::string to_text(WallTime time) {
  const auto day = floor<days>(time);
  const year_month_day date{day};
  const hh_mm_ss clock{time - day};
  return fmt::format("{:04}-{:02}-{:02}T{:02}:{:02}:{:02}.{:03}Z", static_cast<int>(date.year()),
                     static_cast<unsigned>(date.month()), static_cast<unsigned>(date.day()), clock.hours().count(),
                     clock.minutes().count(), clock.seconds().count(), clock.subseconds().count());
}

std::optional<WallTime> wall_time_from_text(std::string_view text) {
  constexpr std::string_view kShape = "0000-00-00T00:00:00.000Z";
  if (text.size() != kShape.size()) return std::nullopt;
  for (std::size_t i = 0; i < text.size(); ++i)
    if (kShape[i] != '0' && text[i] != kShape[i]) return std::nullopt;
  const auto y = number(text, 0, 4), mo = number(text, 5, 2), d = number(text, 8, 2);
  const auto h = number(text, 11, 2), mi = number(text, 14, 2), s = number(text, 17, 2), ms = number(text, 20, 3);
  if (!y || !mo || !d || !h || !mi || !s || !ms || *h > 23 || *mi > 59 || *s > 59) return std::nullopt;
  const year_month_day date{year{*y}, month{static_cast<unsigned>(*mo)}, day{static_cast<unsigned>(*d)}};
  if (!date.ok()) return std::nullopt;
  return sys_days{date} + hours{*h} + minutes{*mi} + seconds{*s} + milliseconds{*ms};
}

}  // namespace rig
