#include "rig/core/sensor_curve.hpp"

#include <cmath>

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;

namespace {

PressureCurve linear() { return PressureCurve{{{Kilopascals{20}, Volts{0.5}}, {Kilopascals{250}, Volts{4.5}}}}; }
PressureCurve bent() {
  return PressureCurve{{{Kilopascals{20}, Volts{0.5}}, {Kilopascals{100}, Volts{2.0}}, {Kilopascals{250}, Volts{4.5}}}};
}

}  // namespace

TEST_CASE("a pressure curve goes both ways, at any rail", "[core][sensor_curve]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (const PressureCurve& curve : {linear(), bent()}) {
    for (int i = 0; i < 500; ++i) {
      const Kilopascals pressure{pick_real(random, -10, 300)};
      const Volts rail{pick_real(random, 4.5, 5.5)};
      REQUIRE(curve.pressure(curve.volts(pressure, rail), rail).value() == Approx(pressure.value()).margin(1e-9));
    }
  }
}

TEST_CASE("a ratiometric voltage follows its rail", "[core][sensor_curve]") {
  CHECK(linear().volts(Kilopascals{20}, Volts{5.5}).value() == Approx(0.55));
  CHECK(linear().pressure(Volts{4.05}, Volts{4.5}).value() == Approx(250));
}

TEST_CASE("a pressure curve's end pieces go on outwards", "[core][sensor_curve]") {
  CHECK(bent().volts(Kilopascals{265}, Volts{5}).value() == Approx(4.75));
  CHECK(bent().pressure(Volts{0.35}, Volts{5}).value() == Approx(12));
}

TEST_CASE("the slope of a pressure curve is that of the piece it is asked for", "[core][sensor_curve]") {
  CHECK(bent().kilopascals_per_volt(Kilopascals{50}, Volts{5}) == Approx(80 / 1.5));
  CHECK(bent().kilopascals_per_volt(Kilopascals{200}, Volts{4}) == Approx(60.0 * 5 / 4));
}

TEST_CASE("without a rail a ratiometric voltage means nothing", "[core][sensor_curve]") {
  CHECK(std::isnan(linear().pressure(Volts{1}, Volts{0}).value()));
  CHECK(std::isnan(linear().pressure(Volts{1}, Volts{-0.01}).value()));
}

TEST_CASE("points that make no curve are refused in words", "[core][sensor_curve]") {
  using Points = std::vector<PressureCurve::Point>;
  const auto wrong = [](const Points& points) { return PressureCurve::problem(points, Volts{5}).value_or("nothing"); };
  CHECK(wrong({{Kilopascals{20}, Volts{0.5}}, {Kilopascals{250}, Volts{4.5}}}) == "nothing");
  CHECK(wrong({{Kilopascals{20}, Volts{0.5}}}) == "a pressure curve needs two points or more");
  CHECK(wrong({{Kilopascals{20}, Volts{0.5}}, {Kilopascals{20}, Volts{4.5}}}) ==
        "point 2: 20 kPa is not above the pressure before it");
  CHECK(wrong({{Kilopascals{20}, Volts{4.5}}, {Kilopascals{250}, Volts{0.5}}}) ==
        "point 2: 0.5 V is not above the voltage before it");
  CHECK(wrong({{Kilopascals{20}, Volts{0.5}}, {Kilopascals{NAN}, Volts{4.5}}}) == "point 2 is not finite");
  CHECK(PressureCurve::problem({{Kilopascals{20}, Volts{0.5}}, {Kilopascals{25}, Volts{1}}}, Volts{0}));
}

TEST_CASE("every thermistor model goes both ways through its divider", "[core][sensor_curve]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  const ThermistorTable listed{
      {{Celsius{-40}, Ohms{52767}}, {Celsius{0}, Ohms{5856.6}}, {Celsius{25}, Ohms{2000}}, {Celsius{130}, Ohms{94}}}};
  const ThermistorModel models[] = {SteinhartHart{1.1212672e-3, 2.3534849e-4, 8.3802405e-8},
                                    SteinhartHart{1.1212672e-3, 2.3534849e-4, 0},
                                    BetaModel{Ohms{2000}, Celsius{25}, Kelvins{3500}}, listed, Platinum{}};
  for (const ThermistorModel& model : models) {
    const TemperatureCurve curve{model, Ohms{2200}};
    for (int i = 0; i < 300; ++i) {
      const Celsius temperature{pick_real(random, -45, 140)};
      const Volts rail{pick_real(random, 4.5, 5.5)};
      INFO("model " << model.index() << " at " << to_text(temperature, 6));
      REQUIRE(curve.temperature(curve.volts(temperature, rail), rail).value() ==
              Approx(temperature.value()).margin(1e-6));
    }
  }
}

TEST_CASE("a thermistor table holds its own points and bends as a thermistor does between them",
          "[core][sensor_curve]") {
  const BetaModel beta{Ohms{2000}, Celsius{25}, Kelvins{3500}};
  ThermistorTable table;
  for (const double t : {-40.0, 0.0, 25.0, 80.0}) table.points.push_back({Celsius{t}, beta.resistance(Celsius{t})});
  CHECK(table.resistance(Celsius{25}).value() == Approx(2000));
  // ln R over 1/T is exactly what a Beta model draws, so between its points, and beyond, the table must agree with it.
  for (const double t : {-50.0, -20.0, 10.0, 60.0, 100.0}) {
    CHECK(table.resistance(Celsius{t}).value() == Approx(beta.resistance(Celsius{t}).value()).epsilon(1e-9));
  }
}

TEST_CASE("a voltage at or beyond the rails is no temperature", "[core][sensor_curve]") {
  const TemperatureCurve curve{BetaModel{Ohms{2000}}, Ohms{2200}};
  for (const double volts : {0.0, -0.1, 5.0, 5.1}) {
    CHECK(std::isnan(curve.temperature(Volts{volts}, Volts{5}).value()));
  }
}
