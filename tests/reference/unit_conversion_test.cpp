#include "rig/core/quantity_text.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

double kilopascals(std::string_view text, std::optional<Kilopascals> ambient = {}) {
  return std::get<Kilopascals>(parse_pressure(text, ambient)).value();
}

}  // namespace

// 1 psi from the international pound, the standard acceleration of free fall and the inch, all exact by definition
// (NIST SP 811, from memory); the rest computed with Python.
TEST_CASE("pressures convert by their definitions", "[reference][units]") {
  CHECK(kilopascals("1 bar abs") == 100);
  CHECK(kilopascals("1013.25 hPa abs") == Approx(101.325).epsilon(1e-12));
  CHECK(kilopascals("1013.25 mbar abs") == Approx(101.325).epsilon(1e-12));
  CHECK(kilopascals("1 psi abs") == Approx(0.45359237 * 9.80665 / (0.0254 * 0.0254) / 1000).epsilon(1e-12));
  CHECK(kilopascals("1 psi abs") == Approx(6.894757).margin(5e-7));
  CHECK(kilopascals("2.901 psi abs") == Approx(20).margin(0.004));
  CHECK(kilopascals("3.626 psi abs") == Approx(25).margin(0.004));
  CHECK(kilopascals("4.351 psi abs") == Approx(30).margin(0.004));
}

// Absolute = gauge + barometric; standard atmosphere (101.325 kPa at sea level, 79.495 kPa at 2000 m).
TEST_CASE("a gauge pressure counts from the ambient one", "[reference][units]") {
  CHECK(kilopascals("0.7 bar gauge", Kilopascals{101.325}) == Approx(171.325));
  CHECK(kilopascals("0.7 bar gauge", Kilopascals{79.495}) == Approx(149.495));
}

// The degree Celsius by its definition in the SI.
TEST_CASE("zero degrees Celsius are 273.15 K", "[reference][units]") { CHECK(kZeroCelsiusInKelvin == 273.15); }
