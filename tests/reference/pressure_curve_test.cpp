#include "rig/core/sensor_curve.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

PressureCurve two_points(double p0, double v0, double p1, double v1, double rail = 5) {
  return PressureCurve{{{Kilopascals{p0}, Volts{v0}}, {Kilopascals{p1}, Volts{v1}}}, Volts{rail}};
}

}  // namespace

// Published transfer functions Vout = Vs (K1 P + K2): Freescale MPX4250A rev 6 (2006), Motorola MPX4115A series; values
// computed from them with Python. Each curve is given at 5 V and asked at 5.1 V, where the data sheets quote it.
TEST_CASE("ratiometric sensors give their data sheets' volts", "[reference][pressure_curve]") {
  const auto wide = two_points(20, 5 * (0.004 * 20 - 0.04), 250, 5 * (0.004 * 250 - 0.04));
  CHECK(wide.volts(Kilopascals{20}, Volts{5.1}).value() == Approx(0.204));
  CHECK(wide.volts(Kilopascals{250}, Volts{5.1}).value() == Approx(4.896));
  CHECK(wide.volts(Kilopascals{100}, Volts{5}).value() == Approx(1.8));
  CHECK(wide.volts(Kilopascals{101.325}, Volts{5}).value() == Approx(1.8265));
  const auto narrow = two_points(15, 5 * (0.009 * 15 - 0.095), 115, 5 * (0.009 * 115 - 0.095));
  CHECK(narrow.volts(Kilopascals{15}, Volts{5.1}).value() == Approx(0.204));
  CHECK(narrow.volts(Kilopascals{115}, Volts{5.1}).value() == Approx(4.794));
  CHECK(narrow.volts(Kilopascals{100}, Volts{5}).value() == Approx(4.025));
  CHECK(narrow.volts(Kilopascals{101.325}, Volts{5}).value() == Approx(4.0846).margin(5e-5));
  // K1 at 5.1 V: 5.1 V * 0.004 / kPa.
  CHECK(1000 / wide.kilopascals_per_volt(Kilopascals{100}, Volts{5.1}) == Approx(20.4));
}

// Generic two-point sensors, common practice, no source for the pairs; arithmetic computed with Python.
TEST_CASE("two-point sensors give the reckoned slopes, volts and rails", "[reference][pressure_curve]") {
  struct Row {
    double v0, v1, p0, p1, mv_per_kpa, at_100, at_101, low, high;
  };
  for (const Row& row : {Row{0.5, 4.5, 10, 115, 38.0952, 3.92857, 3.97905, 3.4, 121.6},
                         Row{0.5, 4.5, 20, 250, 17.3913, 1.89130, 1.91435, 5.6, 264.4},
                         Row{0.5, 4.5, 20, 300, 14.2857, 1.64286, 1.66179, 2.5, 317.5},
                         Row{0.5, 4.5, 20, 400, 10.5263, 1.34211, 1.35605, -3.8, 423.8},
                         Row{0.4, 4.65, 20, 115, 44.7368, 3.97895, 4.03822, 16.6, 117.2},
                         Row{0.4, 4.65, 20, 250, 18.4783, 1.87826, 1.90274, 11.9, 255.4},
                         Row{0.4, 4.65, 50, 300, 17.0000, 1.25000, 1.27253, 41.2, 305.9}}) {
    const auto curve = two_points(row.p0, row.v0, row.p1, row.v1);
    INFO(row.v0 << " to " << row.v1 << " V, " << row.p0 << " to " << row.p1 << " kPa");
    CHECK(1000 / curve.kilopascals_per_volt(Kilopascals{100}, Volts{5}) == Approx(row.mv_per_kpa).margin(5e-5));
    CHECK(curve.volts(Kilopascals{100}, Volts{5}).value() == Approx(row.at_100).margin(5.1e-6));
    CHECK(curve.volts(Kilopascals{101.325}, Volts{5}).value() == Approx(row.at_101).margin(5.1e-6));
    CHECK(curve.pressure(Volts{0.25}, Volts{5}).value() == Approx(row.low).margin(0.051));
    CHECK(curve.pressure(Volts{4.75}, Volts{5}).value() == Approx(row.high).margin(0.051));
  }
}

// A workshop specification of an intake pressure sensor; its middle point lies 2 mV off the line through the ends
// (computed with Python).
TEST_CASE("a sensor of three points keeps its middle one", "[reference][pressure_curve]") {
  const PressureCurve curve{
      {{Kilopascals{20}, Volts{0.79}}, {Kilopascals{46.66}, Volts{1.84}}, {Kilopascals{101.32}, Volts{4.0}}}};
  CHECK(curve.volts(Kilopascals{46.66}, Volts{5}).value() == Approx(1.84));
  const double straight = two_points(20, 0.79, 101.32, 4.0).volts(Kilopascals{46.66}, Volts{5}).value();
  CHECK(std::abs(straight - 1.84) == Approx(0.002).margin(0.0005));
}
