#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;

namespace {

/// A working unit at one point of the map: what each channel hides, in kPa, as the pins show it.
struct Hidden {
  double charge, manifold;
};
Hidden hidden_at(double rpm, double manifold, double charge, double celsius = 20, Bench bench = Bench{}) {
  Script script;
  script.power_up().kpa(charge_source, charge).kpa(manifold_source, manifold).rpm(rpm).celsius(celsius).hold(700ms);
  const auto played = bench.play(script);
  return {to_kpa(last(played, charge_in)) - to_kpa(last(played, charge_out)),
          to_kpa(last(played, manifold_in)) - to_kpa(last(played, manifold_out))};
}

/// The sensor's own resistance and the loads move the pin a little: pressures here are those of the table, roughly.
constexpr double kLoose = 1.0;

}  // namespace

TEST_CASE("the unit hides what its table says at a breakpoint", "[emulated][shift]") {
  for (const double rpm : {2500.0, 4000.0, 6500.0}) {
    // A source of 1 kohm under load reads low at the pin; 0.5 kPa there moves the shift by 0.15 kPa.
    const Hidden hidden = hidden_at(rpm, 202, 210);
    CHECK(hidden.manifold == Approx(shift_at(rpm, 200)).margin(kLoose));
  }
}

TEST_CASE("the shift is indexed by the pressure the product names", "[emulated][shift]") {
  // Charge pressure far above manifold pressure: both channels are shifted by what the manifold pressure says.
  const Hidden hidden = hidden_at(4000, 140, 200);
  CHECK(hidden.manifold == Approx(shift_at(4000, 140)).margin(kLoose));
  CHECK(hidden.charge == Approx(shift_at(4000, 140)).margin(kLoose));
}

TEST_CASE("between breakpoints the shift is interpolated in both directions", "[emulated][shift]") {
  const double corners[] = {shift_at(1500, 170), shift_at(1500, 185), shift_at(2000, 170), shift_at(2000, 185)};
  const double middle = (corners[0] + corners[1] + corners[2] + corners[3]) / 4;
  CHECK(hidden_at(1750, 180, 185).manifold == Approx(middle).margin(kLoose));
}

TEST_CASE("beyond its axes the table holds its last values", "[emulated][shift]") {
  CHECK(hidden_at(4000, 240, 245).manifold == Approx(shift_at(4000, 220)).margin(0.3));
  CHECK(std::abs(hidden_at(7500, 202, 210).manifold) < 0.3);
}

TEST_CASE("the shift is taken back with temperature", "[emulated][shift]") {
  const double cold = hidden_at(4000, 202, 210).manifold;
  CHECK(hidden_at(4000, 202, 210, 90).manifold == Approx(cold * 0.5).margin(1));  // 10 ohm in a line of 245 ohm
  CHECK(std::abs(hidden_at(4000, 202, 210, 125).manifold) < 0.3);
}

TEST_CASE("a unit reports no less than its product's limit", "[emulated][shift]") {
  rig::Product p = product();
  p.pressures[1].lowest_reported = rig::Kilopascals{190};
  Bench bench{{}, sample::bench(), true, {}, std::make_shared<const rig::Product>(p)};
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 202).rpm(4000).hold(700ms);
  CHECK(to_kpa(last(bench.play(script), manifold_out)) == Approx(190).margin(0.4));
}

TEST_CASE("when the speed signal stops, the shift goes within three intervals and the filters", "[emulated][speed]") {
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 202).rpm(3000).hold(700ms);
  script.rpm(0).hold(100ms);
  const auto played = Bench{}.play(script);
  const auto hidden = [&](std::size_t ms) {
    return to_kpa(bin(played, 2, manifold_in, ms).mean) - to_kpa(bin(played, 2, manifold_out, ms).mean);
  };
  CHECK(hidden(15) > 15);             // a falling edge every 10 ms: not yet missed
  CHECK(std::abs(hidden(60)) < 0.3);  // 3 intervals and 20 ms of filters
}

TEST_CASE("unequal lobes do not disturb the measured speed", "[emulated][speed]") {
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 195).rpm(1750).hold(700ms);
  const auto played = Bench{}.play(script);
  double low = 10, high = 0;
  for (std::size_t i = 500; i < 700; ++i) {
    low = std::min(low, bin(played, 1, manifold_out, i).mean);
    high = std::max(high, bin(played, 1, manifold_out, i).mean);
  }
  CHECK(high - low < 0.003);
}

TEST_CASE("a unit starts within its boot time, without a glitch on its outputs", "[emulated][power_up]") {
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 202).rpm(3500).hold(500ms);
  const auto played = Bench{}.play(script);
  std::size_t started = 0;
  const double in = last(played, manifold_in), out = last(played, manifold_out);
  for (std::size_t i = 20; i < 500 && started == 0; ++i) {
    if (bin(played, 1, manifold_out, i).mean < (in + out) / 2) started = i;
  }
  CHECK(started > 220);  // half of the ramp is over
  CHECK(started < 270);
  for (std::size_t i = 20; i < 500; ++i) {
    INFO("bin " << i);
    REQUIRE(bin(played, 1, manifold_out, i).low > out - 0.01);
    REQUIRE(bin(played, 1, manifold_out, i).high < in + 0.01);
  }
  CHECK(bin(played, 1, battery_current, 2).mean == Approx(0.3).margin(0.001));
  CHECK(last(played, battery_current) == Approx(0.06).margin(0.001));
}

TEST_CASE("outputs follow the 5 V rail they are made from", "[emulated][rails]") {
  Script script;
  script.power_up().set(rail, 4.8).kpa(charge_source, 100).kpa(manifold_source, 100).hold(500ms);
  const auto played = Bench{}.play(script);
  CHECK(last(played, rail_controller) == Approx(4.8).margin(0.0005));
  CHECK(last(played, rail_sensor) == Approx(4.8).margin(0.001));
  CHECK(last(played, manifold_out) == Approx(last(played, manifold_in)).margin(0.004));
}

TEST_CASE("good units differ a little from each other, and each from itself never", "[emulated][spread]") {
  Script script;
  script.power_up().kpa(charge_source, 210).kpa(manifold_source, 202).rpm(3500).hold(500ms);
  const auto product = std::make_shared<const rig::Product>(sample::product());
  const auto setup = sample::bench();
  const auto out = [&](const char* serial) {
    const auto bench = drivers::open_emulated(setup, product, {serial, {}, false});
    return last(sample::play(*bench, plan(setup), script.segments), manifold_out);
  };
  CHECK(out("A00001") == out("A00001"));
  CHECK(out("A00001") != out("A00002"));
  for (const char* serial : {"A00001", "A00002", "A00003", "A00004"}) {
    CHECK(out(serial) == Approx(out("A00001")).margin(0.016));  // twice 3 mV and 0.1 % of 4 V, and a code
  }
}
