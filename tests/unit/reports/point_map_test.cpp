#include "reports/point_map.hpp"

#include "tests/unit/catch.hpp"
#include "tests/unit/reports/sample_run.hpp"

using rig::Verdict;

namespace {

rig::Finding at(const char* id, double margin, Verdict verdict = Verdict::pass) {
  rig::Finding f;
  f.id = id, f.step = "sweep", f.in = "kPa", f.margin = margin, f.verdict = verdict;
  return f;
}

TEST_CASE("findings on a grid of speed and pressure become a map with ascending axes", "[reports][map]") {
  const std::vector findings{at("sweep/m@3000rpm,100kPa", 1), at("sweep/m@1000rpm,200kPa", 1),
                             at("sweep/m@3000rpm,200kPa", 1), at("sweep/m@1000rpm,100kPa", 1)};
  const auto maps = rig::point_maps(findings);
  REQUIRE(maps.size() == 1);
  CHECK(maps[0].channel == "m");
  CHECK(maps[0].speeds == std::vector{1000.0, 3000.0});
  CHECK(maps[0].pressures == std::vector{100.0, 200.0});
  CHECK(maps[0].points.size() == 4);
  CHECK(rig::shown_in(maps, findings[2]));
}

TEST_CASE("a row of points is no map and stays in the table", "[reports][map]") {
  const std::vector findings{at("sweep/m@1000rpm,100kPa", 1), at("sweep/m@1000rpm,200kPa", 1),
                             at("sweep/agreement", 1)};
  CHECK(rig::point_maps(findings).empty());
  CHECK_FALSE(rig::shown_in(rig::point_maps(findings), findings[0]));
}

TEST_CASE("each channel and each temperature keeps its own points", "[reports][map]") {
  const auto report = sample::run(Verdict::pass);
  const auto maps = rig::point_maps(report.findings);
  REQUIRE(maps.size() == 2);
  CHECK(maps[0].channel == "charge_pressure");
  CHECK(maps[1].channel == "manifold_pressure");
  CHECK(maps[0].temperatures.size() == 2);
}

TEST_CASE("of two findings of one place the worse one is shown", "[reports][map]") {
  const auto good = at("a", 0.2), better = at("a", 0.9);
  const auto failed = at("a", 1.2, Verdict::fail), voided = at("a", 1, Verdict::void_),
             open = at("a", -1, Verdict::undecided);
  CHECK(&rig::worse(good, better) == &good);
  CHECK(&rig::worse(good, open) == &open);
  CHECK(&rig::worse(voided, open) == &voided);
  CHECK(&rig::worse(failed, voided) == &failed);
}

TEST_CASE("places are said in words", "[reports][map]") {
  CHECK(rig::spoken_place(at("sweep/manifold_pressure@3500rpm,180kPa,60degC,down", 1)) ==
        "sweep: manifold pressure, at 3500 rpm, 180 kPa, 60 \u00b0C, from above");
  CHECK(rig::spoken_place(at("pass_through/unpowered/charge_pressure@80kPa", 1)) ==
        "pass through: unpowered, charge pressure, at 80 kPa");
  CHECK(rig::spoken_place(at("power_up/boot", 1)) == "power up: boot");
}

}  // namespace
