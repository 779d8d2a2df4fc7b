#include "rig/store/wall_time.hpp"

#include "tests/unit/catch.hpp"

using namespace rig;
using namespace std::chrono;

TEST_CASE("a wall time is written as RFC 3339 in UTC, to the millisecond, and read back", "[store][time]") {
  const WallTime leap_day = sys_days{year{2028} / 2 / 29} + 23h + 59min + 58s + 7ms;
  CHECK(to_text(leap_day) == "2028-02-29T23:59:58.007Z");
  CHECK(wall_time_from_text("2028-02-29T23:59:58.007Z") == leap_day);
  CHECK(to_text(WallTime{}) == "1970-01-01T00:00:00.000Z");
}

TEST_CASE("what is no wall time is refused", "[store][time]") {
  for (const char* text : {"", "2028-02-29", "2027-02-29T00:00:00.000Z", "2028-13-01T00:00:00.000Z",
                           "2028-02-29T24:00:00.000Z", "2028-02-29 23:59:58.007Z", "2028-02-29T23:59:58.007+",
                           "2028-02-29T23:5x:58.007Z", "-028-02-29T23:59:58.007Z", "2028-02-29T23:59:58.007Z "})
    CHECK_FALSE(wall_time_from_text(text));
}
