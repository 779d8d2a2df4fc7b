#include "drivers/emulated/defects.hpp"

#include <set>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/emulated/sample_bench.hpp"

using namespace sample;

namespace {

drivers::Defect defect(const std::string& text) {
  const auto parsed = drivers::parse_defect(text);
  if (const auto* error = std::get_if<std::string>(&parsed)) throw std::runtime_error{*error};
  return std::get<drivers::Defect>(parsed);
}

/// A working unit at a point of the map, with and without a defect.
struct Point {
  double rpm = 4000, charge = 218, manifold = 202, celsius = 20;
};
drivers::Played at(const Point& point, std::vector<drivers::Defect> defects) {
  Script script;
  script.power_up().kpa(charge_source, point.charge).kpa(manifold_source, point.manifold).rpm(point.rpm);
  script.celsius(point.celsius).hold(900ms);
  return Bench{std::move(defects)}.play(script);
}
/// How much further than a good one's its output is off, in kPa.
double changed(const char* text, const Point& point, P out = manifold_out) {
  return to_kpa(last(at(point, {defect(text)}), out)) - to_kpa(last(at(point, {}), out));
}

constexpr double kUsualBand = 1.5;  // kPa, the sweep's

}  // namespace

TEST_CASE("a defect is read with its value and its channel", "[emulated][defects]") {
  CHECK(defect("gain").value == 1.02);
  CHECK(defect("gain=0.97").value == 0.97);
  CHECK(defect("gain=0.97@charge_pressure").place == "charge_pressure");
  CHECK(defect("stuck_output@charge_pressure").value == 2);
  CHECK(defect("high_current=0.4").value == 0.4);
}

TEST_CASE("a defect that cannot be read says why and what may have been meant", "[emulated][defects]") {
  CHECK(std::get<std::string>(drivers::parse_defect("wrong_sell")) ==
        "'wrong_sell': no such defect. Did you mean 'wrong_cell'?");
  CHECK(std::get<std::string>(drivers::parse_defect("offset=much")).find("is no number") != std::string::npos);
  CHECK(std::get<std::string>(drivers::parse_defect("offset=nan")).find("is no number") != std::string::npos);
  CHECK(std::get<std::string>(drivers::parse_defect("slow_start=1@charge_pressure")).find("nowhere in particular") !=
        std::string::npos);
}

TEST_CASE("a defect on a channel the product does not have is refused before anything is played",
          "[emulated][defects]") {
  CHECK_THROWS_AS(Bench{{defect("gain=1.1@oil_pressure")}}, rig::RigFault);
}

TEST_CASE("a defect that could do nothing to this product is refused: looking for it would prove nothing",
          "[emulated][defects]") {
  rig::Product one = product();
  one.pressures.pop_back();
  one.pressures[0].shift = rig::Shift{0, 0, {}};
  const auto fitted = std::make_shared<const rig::Product>(one);
  const auto open = [&](const char* text) {
    auto setup = sample::bench();
    setup.wiring.lines.erase(setup.wiring.lines.begin() + 1);
    Bench{{defect(text)}, setup, true, {}, fitted};
  };
  CHECK_THROWS_WITH(open("crosstalk"), Catch::Contains("has one pressure channel only"));
  CHECK_THROWS_WITH(open("channels_swapped"), Catch::Contains("has one pressure channel only"));
  CHECK_THROWS_WITH(open("missing_derate"), Catch::Contains("does not derate"));
  CHECK_NOTHROW(open("wrong_cell"));
}

TEST_CASE("every defect is listed once with a description", "[emulated][defects]") {
  std::set<std::string_view> names;
  for (const auto& kind : drivers::list_defects()) {
    names.insert(kind.name);
    CHECK(kind.description.size() > 10);
  }
  CHECK(names.size() == drivers::list_defects().size());
  CHECK(names.size() >= 22);
}

TEST_CASE("defects of the output stage move the output by what they say", "[emulated][defects]") {
  CHECK(changed("offset=0.06", {}) == Approx(0.06 * 57.5).margin(0.15));
  CHECK(changed("gain=1.02", {}) == Approx(0.02 * 3.2 * 57.5).margin(0.3));
  CHECK(std::abs(last(at({}, {defect("stuck_output=2")}), manifold_out) - 2) < 0.01);
  SECTION("on the channel that is named, and on no other") {
    CHECK(changed("offset=0.06@charge_pressure", {}, charge_out) > 3);
    CHECK(std::abs(changed("offset=0.06@charge_pressure", {}, manifold_out)) < 0.1);
    CHECK(std::abs(changed("offset=0.06", {}, charge_out)) < 0.1);
  }
}

TEST_CASE("defects of the table show where they must and are large there", "[emulated][defects]") {
  CHECK(changed("wrong_cell", {3500, 150, 140}) < -2 * kUsualBand);
  CHECK(std::abs(changed("wrong_cell", {5500, 210, 200})) < 0.1);
  CHECK(std::abs(changed("swapped_axes", {5500, 125, 110})) > 2 * kUsualBand);
  CHECK(changed("axis_off_by_one", {2500, 218, 202}) > 2 * kUsualBand);
  CHECK(changed("no_interpolation", {4000, 150, 148}) > 1.5);
  CHECK(std::abs(changed("no_interpolation", {4000, 125, 110})) < 0.5);
  CHECK(changed("no_clamp", {4000, 248, 240}) > 2 * kUsualBand);
  CHECK(changed("missing_derate", {4000, 218, 202, 90}) < -2 * kUsualBand);
  CHECK(std::abs(changed("missing_derate", {})) < 0.1);
}

TEST_CASE("defects of the program's arithmetic shift too much or too little", "[emulated][defects]") {
  CHECK(changed("disagreement", {}) == Approx(4).margin(0.2));
  CHECK(std::abs(changed("disagreement", {}, charge_out)) < 0.1);
  const auto far = at({}, {defect("excess_shift")});
  CHECK(to_kpa(last(far, manifold_in)) - to_kpa(last(far, manifold_out)) > 35);  // the usual hard ceiling
}

TEST_CASE("swapped and cross-talking channels show only while the channels differ", "[emulated][defects]") {
  const Point level{1000, 150, 150}, unlike{1000, 168, 150};
  for (const char* text : {"channels_swapped", "crosstalk"}) {
    INFO(text);
    CHECK(std::abs(changed(text, level)) < 0.5);
    CHECK(changed(text, unlike) > 1);
  }
  CHECK(changed("crosstalk=0.1", unlike) == Approx(1.8).margin(0.2));
  CHECK(changed("channels_swapped", unlike, charge_out) == Approx(-18).margin(1));
}

TEST_CASE("a slow start comes late and a start-up glitch leaves the span between input and output",
          "[emulated][defects]") {
  const auto slow = at({}, {defect("slow_start")}), glitch = at({}, {defect("startup_glitch")});
  CHECK(bin(slow, 1, manifold_out, 500).mean == Approx(bin(slow, 1, manifold_in, 500).mean).margin(0.001));
  CHECK(to_kpa(last(slow, manifold_in)) - to_kpa(last(slow, manifold_out)) > 20);
  double highest = 0;
  for (std::size_t i = 50; i < 400; ++i) highest = std::max(highest, bin(glitch, 1, manifold_out, i).high);
  CHECK(highest > last(glitch, manifold_in) + 0.1);
}

TEST_CASE("a slowly settling unit takes longer than products allow, and a noisy one does not stand still",
          "[emulated][defects]") {
  Script script;
  script.power_up().kpa(charge_source, 110).kpa(manifold_source, 100).rpm(3500).hold(1500ms);
  script.kpa(charge_source, 170).kpa(manifold_source, 160).until_settled({manifold_out}, 40ms, 2s);
  const auto good = Bench{}.play(script), slow = Bench{{defect("slow_settle")}}.play(script);
  const auto length = [](const drivers::Played& p) { return p.slices[2].record.end - p.slices[2].record.start; };
  CHECK(length(good) < 120ms);
  CHECK(length(slow) > 250ms);
  const auto noisy = at({}, {defect("noise")});
  double low = 5, high = 0;
  for (std::size_t i = 860; i < 900; ++i) {
    low = std::min(low, bin(noisy, 1, manifold_out, i).low);
    high = std::max(high, bin(noisy, 1, manifold_out, i).high);
  }
  CHECK(high - low > 0.02);
}

TEST_CASE("a unit that draws too much, or drags its sensor down, shows at the bench's side", "[emulated][defects]") {
  CHECK(last(at({}, {defect("high_current")}), battery_current) == Approx(0.36).margin(0.002));
  // proving-a-module: 47 kohm of leakage on a 1 kohm source is 76 mV at 200 kPa
  const auto good = at({1000, 210, 200}, {}), drag = at({1000, 210, 200}, {defect("input_drag")});
  CHECK(last(good, manifold_in) - last(drag, manifold_in) == Approx(0.076).margin(0.003));
  CHECK(last(drag, manifold_out) == Approx(last(drag, manifold_in)).margin(0.006));  // faithfully forwarded
}
