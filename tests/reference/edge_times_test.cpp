#include <cmath>

#include "rig/core/speed_piece.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

// Constant acceleration, t = 2 theta / (w0 + sqrt(w0^2 + 2 a theta)): computed with Python, standard library only.
namespace {

constexpr std::uint32_t kTickRate = 10'000'000;

struct Row {
  double degrees, milliseconds, rpm;
};

/// Both arithmetics: in plain units to the digits printed, in integers to half a tick.
void check(Row row, double start_rpm, double rpm_per_second) {
  INFO(row.degrees << " degrees from " << start_rpm << " rpm at " << rpm_per_second << " rpm/s");
  const auto time = time_of_angle(CrankDegrees{row.degrees}, Rpm{start_rpm}, RpmPerSecond{rpm_per_second});
  REQUIRE(time);
  CHECK(seconds(*time) * 1e3 == Approx(row.milliseconds).margin(6e-7));
  const SpeedPiece piece{static_cast<std::int32_t>(start_rpm * 1000), static_cast<std::int32_t>(rpm_per_second * 1000),
                         std::uint64_t{kTickRate} * 10};
  const auto angle = static_cast<FixedAngle>(row.degrees * static_cast<double>(kFixedDegree));
  const auto tick = tick_of_angle(piece, angle, kTickRate);
  REQUIRE(tick);
  CHECK(static_cast<double>(*tick) / 1e4 == Approx(row.milliseconds).margin(5.1e-5));
  if (row.rpm > 0) CHECK(speed_after(piece, *tick, kTickRate).value() == Approx(row.rpm).margin(1e-3));
}

}  // namespace

TEST_CASE("a ramp from 850 to 6500 rpm at 5000 rpm/s passes its edges when reckoned", "[reference][edge_times]") {
  SECTION("60 positions a turn") {
    for (const Row& row :
         {Row{6, 1.172428, 855.8621}, Row{12, 2.336879, 861.6844}, Row{180, 32.237484, 1011.1874},
          Row{360, 60.0, 1150.0}, Row{3600, 348.555686, 2592.7784}, Row{6.0 * 4152, 1129.884610, 6499.4231}}) {
      check(row, 850, 5000);
    }
  }
  SECTION("four lobes a cam turn") {
    for (const Row& row : {Row{180, 32.237484, 1011.19}, Row{360, 60.0, 1150.0}, Row{540, 84.754784, 1273.77},
                           Row{180.0 * 138, 1128.036979, 6490.1849}}) {
      check({row.degrees, row.milliseconds, 0}, 850, 5000);
    }
  }
  SECTION("1.13 s and 69.2125 turns in all") {
    const SpeedPiece ramp{850'000, 5'000'000, 11'300'000};
    CHECK(angle_after(ramp, 11'300'000, kTickRate) ==
          static_cast<FixedAngle>(69.2125 * 360) * kFixedDegree +
              static_cast<FixedAngle>(0.5 * static_cast<double>(kFixedDegree)));
    CHECK(speed_after(ramp, 11'300'000, kTickRate) == Rpm{6500});
  }
}

TEST_CASE("a start from standstill passes its edges when reckoned", "[reference][edge_times]") {
  for (const Row& row : {Row{6, 44.721360, 0}, Row{12, 63.245553, 0}, Row{360, 346.410162, 0}}) check(row, 0, 1000);
}

TEST_CASE("a deceleration passes its edges when reckoned, and stops", "[reference][edge_times]") {
  for (const Row& row : {Row{6, 0.153852, 0}, Row{360, 9.250517, 0}, Row{36000, 1333.333333, 0}})
    check(row, 6500, -3000);
  // It stops after 117.3611 turns; position 7041 of 60 a turn is the last that is reached.
  const auto reached = [](int k) { return time_of_angle(CrankDegrees{6.0 * k}, Rpm{6500}, RpmPerSecond{-3000}); };
  CHECK(reached(7041));
  CHECK_FALSE(reached(7042));
  const SpeedPiece piece{6'500'000, -3'000'000, std::uint64_t{kTickRate} * 10};
  CHECK(tick_of_angle(piece, 6 * 7041 * kFixedDegree, kTickRate));
  CHECK_FALSE(tick_of_angle(piece, 6 * 7042 * kFixedDegree, kTickRate));
  CHECK(static_cast<double>(angle_after(piece, std::uint64_t{kTickRate} * 9, kTickRate)) /
            static_cast<double>(360 * kFixedDegree) ==
        Approx(117.3611).margin(5e-5));
}

// The mean speed over the first lobe of the ramp is the speed at its middle in time.
TEST_CASE("a period measures the speed at the middle of its interval", "[reference][edge_times]") {
  const auto lobe = time_of_angle(CrankDegrees{180}, Rpm{850}, RpmPerSecond{5000});
  const double mean = 0.5 / seconds(*lobe) * 60;
  CHECK(mean == Approx(930.5937).margin(5e-5));
  CHECK(850 + 5000 * seconds(*lobe) / 2 == Approx(mean).epsilon(1e-7));
}
