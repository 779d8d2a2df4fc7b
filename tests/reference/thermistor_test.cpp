#include "rig/core/sensor_curve.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

// A public gist with the coefficients and a check run of a sensor maker's 10 kohm curve ("10K-CP"). Its figures
// were reckoned in single precision: they are good to 1e-3 K.
TEST_CASE("the published fit of a 10 kohm thermistor is met in both directions", "[reference][thermistor]") {
  const SteinhartHart fit{1.1212672e-3, 2.3534849e-4, 8.3802405e-8};
  struct Row {
    double ohms, table, published;
  };
  for (const Row& row : {Row{336450, -40, -39.999985}, Row{97072, -20, -20.031494}, Row{32650, 0, -0.036224},
                         Row{19889, 10, 9.976471}, Row{12492, 20, 19.966736}}) {
    INFO(row.ohms << " ohm");
    CHECK(fit.temperature(Ohms{row.ohms}).value() == Approx(row.published).margin(1e-3));
    CHECK(fit.temperature(Ohms{row.ohms}).value() == Approx(row.table).margin(0.05));
    CHECK(fit.resistance(fit.temperature(Ohms{row.ohms})).value() == Approx(row.ohms).epsilon(1e-9));
  }
  // Computed in double precision with Python, standard library only.
  CHECK(fit.temperature(Ohms{10000}).value() == Approx(24.9674).margin(5e-5));
}

// README of a small open-source Steinhart-Hart library (keidyz/steinhart-hart), and Python.
TEST_CASE("three points give the published coefficients", "[reference][thermistor]") {
  const auto fit = SteinhartHart::through(Celsius{-25}, Ohms{87041}, Celsius{0}, Ohms{27326}, Celsius{25}, Ohms{10000});
  CHECK(fit.a == Approx(8.975540e-4).epsilon(1e-6));
  CHECK(fit.b == Approx(2.501791e-4).epsilon(1e-6));
  CHECK(fit.c == Approx(1.948344e-7).epsilon(1e-6));
  CHECK(fit.temperature(Ohms{7000}).value() == Approx(34.7531).margin(5e-5));
}

// An invented but typical intake-air thermistor, 2 kohm at 25 degC, B = 3500 K, on 5 V: computed with Python.
TEST_CASE("a Beta thermistor behind a pull-up gives the reckoned volts and slopes", "[reference][thermistor]") {
  const BetaModel beta{Ohms{2000}, Celsius{25}, Kelvins{3500}};
  const TemperatureCurve soft{beta, Ohms{2200}}, stiff{beta, Ohms{1000}};
  struct Row {
    double celsius, ohms, volts, millivolts_per_kelvin, stiff_volts;
  };
  for (const Row& row : {Row{-40, 52767, 4.7999, 12.4, 4.9070}, Row{-20, 16117, 4.3995, 28.9, 4.7079},
                         Row{0, 5856.6, 3.6347, 46.6, 4.2708}, Row{25, 2000.0, 2.3810, 49.1, 3.3333},
                         Row{60, 582.67, 1.0470, 26.1, 1.8408}, Row{100, 188.94, 0.3955, 9.2, 0.7946},
                         Row{130, 94.017, 0.2049, 4.2, 0.4297}}) {
    const Celsius t{row.celsius};
    INFO(to_text(t));
    CHECK(beta.resistance(t).value() == Approx(row.ohms).epsilon(3e-5));
    CHECK(soft.volts(t, Volts{5}).value() == Approx(row.volts).margin(5e-5));
    CHECK(stiff.volts(t, Volts{5}).value() == Approx(row.stiff_volts).margin(5e-5));
    CHECK(1000 / soft.kelvins_per_volt(t, Volts{5}) == Approx(row.millivolts_per_kelvin).margin(0.05));
  }
}

// Common practice, no source; reckoned by hand: 47 kohm across a 2 kohm/25 degC sensor with a 2.2 kohm pull-up.
TEST_CASE("a load of 47 kohm on a thermistor reads as the reckoned error", "[reference][thermistor]") {
  const TemperatureCurve curve{BetaModel{Ohms{2000}, Celsius{25}, Kelvins{3500}}, Ohms{2200}};
  const auto error = [&](Celsius t) {
    const double r = curve.resistance(t).value();
    const double loaded = r * 47000 / (r + 47000);
    return (curve.temperature(Volts{5 * loaded / (loaded + 2200)}, Volts{5}) - t).value();
  };
  CHECK(error(Celsius{25}) == Approx(1.1).margin(0.05));
  CHECK(error(Celsius{-20}) == Approx(5.5).margin(0.05));
}
