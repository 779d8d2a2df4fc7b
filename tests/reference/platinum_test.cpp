#include "rig/core/sensor_curve.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

// Pt100 formula and table sheets (IEC 60751 / DIN EN 60751) of several makers; 850 degC from memory. The
// longer figures are the formula, computed with Python.
TEST_CASE("a Pt100 meets the printed table in both directions", "[reference][platinum]") {
  const Platinum pt100;
  struct Row {
    double celsius, computed, printed;
  };
  for (const Row& row : {Row{-200, 18.5201, 18.52}, Row{-100, 60.2558, 60.26}, Row{-50, 80.3063, 80.31},
                         Row{0, 100.0, 100.0}, Row{100, 138.5055, 138.51}, Row{200, 175.8560, 175.86},
                         Row{400, 247.0920, 247.09}, Row{600, 313.7080, 313.71}, Row{850, 390.4811, 390.48}}) {
    const Celsius t{row.celsius};
    INFO(to_text(t));
    CHECK(pt100.resistance(t).value() == Approx(row.computed).margin(5e-5));
    CHECK(pt100.resistance(t).value() == Approx(row.printed).margin(0.0051));
    CHECK(pt100.temperature(pt100.resistance(t)).value() == Approx(row.celsius).margin(1e-8));
  }
}

// Slopes of the same formula, computed with Python.
TEST_CASE("a Pt100's slope is the reckoned one", "[reference][platinum]") {
  const Platinum pt100;
  const auto slope = [&](double t) {
    return (pt100.resistance(Celsius{t + 0.01}) - pt100.resistance(Celsius{t - 0.01})).value() / 0.02;
  };
  CHECK(slope(0) == Approx(0.3908).margin(5e-5));
  CHECK(slope(400) == Approx(0.3446).margin(5e-5));
  CHECK(slope(850) == Approx(0.2927).margin(5e-5));
}
