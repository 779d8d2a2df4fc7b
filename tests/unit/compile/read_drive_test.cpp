#include "rig/compile/read_drive.hpp"

#include <algorithm>
#include <fstream>
#include <iterator>

#include "tests/unit/compile/shipped.hpp"

using namespace rig;

namespace {

struct Fixture {
  Product product = *shipped::one_pressure().product;
  DriveColumns columns{',', {"time", "ms"}, {"speed", "rpm"}, {{"boost", "bar gauge"}}, {}, Kilopascals{100}};
  Complaints complaints;
  std::optional<Drive> read(std::string_view text) {
    complaints.clear();
    return read_drive(text, columns, product, "pull.csv", complaints);
  }
  std::string only_complaint(std::string_view text) {
    CHECK_FALSE(read(text));
    REQUIRE(complaints.size() == 1);
    return to_text(complaints.front());
  }
};

}  // namespace

TEST_CASE_METHOD(Fixture, "a drive takes any column in any unit, and starts at zero", "[compile][drive]") {
  const auto drive = read("note,boost,time,speed\nx,0.5,1000,2000\ny,0.9,1012.5,2100\n");
  REQUIRE(drive);
  REQUIRE(drive->points.size() == 2);
  CHECK(drive->points[0].at == Nanoseconds{0});
  CHECK(drive->points[1].at == Nanoseconds{12'500'000});
  CHECK(drive->duration() == Nanoseconds{12'500'000});
  CHECK(drive->points[1].speed == Rpm{2100});
  CHECK(drive->points[0].pressures.front().value() == Approx(150));
}

TEST_CASE_METHOD(Fixture, "a bad row is refused with its line, its column and the way out", "[compile][drive]") {
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,fast,0.5\n20,2000,0.5\n")
            .starts_with("pull.csv:3:1: column 'speed': "));
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,,0.5\n20,2000,0.5\n")
            .starts_with("pull.csv:3:1: column 'speed': "));
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,2000,nan\n20,2000,0.5\n")
            .starts_with("pull.csv:3:1: column 'boost': "));
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,2000,9.5\n20,2000,0.5\n")
            .starts_with("pull.csv:3:1: column 'boost': 1050 kPa is outside"));
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,99000,0.5\n20,2000,0.5\n")
            .starts_with("pull.csv:3:1: column 'speed': 99000 rpm is outside"));
}

TEST_CASE_METHOD(Fixture, "time must go on, and without holes", "[compile][drive]") {
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n10,2000,0.5\n10,2000,0.5\n") ==
        "pull.csv:4:1: the time 10 ms does not come after the row before it, 10 ms. Sort the rows by time and take "
        "doubles out");
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n20000,2000,0.5\n20010,2000,0.5\n")
            .starts_with("pull.csv:3:1: nothing was recorded for 20 s before this row"));
}

TEST_CASE_METHOD(Fixture, "a column that is not there is named, with the nearest that is", "[compile][drive]") {
  CHECK(only_complaint("time,spede,boost\n0,2000,0.5\n10,2000,0.5\n") ==
        "pull.csv:1:1: there is no column 'speed'. Did you mean 'spede'?");
}

TEST_CASE_METHOD(Fixture, "one row is no drive", "[compile][drive]") {
  CHECK(only_complaint("time,speed,boost\n0,2000,0.5\n").starts_with("pull.csv:1:1: a drive needs two rows"));
}

TEST_CASE("the drives that ship are sound, and go where they say", "[compile][drive][shipped]") {
  const auto product = *shipped::end_of_line().product;
  const DriveColumns columns{',',
                             {"time_s", "s"},
                             {"speed_rpm", "rpm"},
                             {{"charge_kpa", "kPa"}, {"manifold_kpa", "kPa"}},
                             DriveColumn{"intake_degc", "degC"},
                             {}};
  for (const auto& [name, from, to, length] :
       {std::tuple{"drives/pull.csv", 2000.0, 6500.0, 11.0}, {"drives/mixed-road.csv", 850.0, 4800.0, 60.0}}) {
    std::ifstream file{shipped::path(name)};
    const std::string text{std::istreambuf_iterator<char>{file}, {}};
    Complaints complaints;
    const auto drive = read_drive(text, columns, product, name, complaints);
    for (const auto& complaint : complaints) UNSCOPED_INFO(to_text(complaint));
    REQUIRE(drive);
    const auto [slowest, fastest] = std::minmax_element(drive->points.begin(), drive->points.end(),
                                                        [](auto& a, auto& b) { return a.speed < b.speed; });
    CHECK(slowest->speed.value() == Approx(from).margin(60));
    CHECK(fastest->speed.value() == Approx(to).margin(60));
    CHECK(seconds(drive->duration()) == Approx(length).margin(0.1));
  }
}
