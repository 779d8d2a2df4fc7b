#include "rig/compile/sweep_points.hpp"

#include <algorithm>

#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;

struct Fixture {
  Product product = *shipped::end_of_line().product;
  SweepSpec spec = [] {
    SweepSpec s;
    s.speeds = {Rpm{3000}, Rpm{1000}, Rpm{2000}};
    s.pressures = {Kilopascals{200}, Kilopascals{100}, Kilopascals{150}, Kilopascals{50}};
    s.temperatures = {Celsius{25}};
    s.from_above = 0;
    return s;
  }();
  std::size_t manifold = *find_pressure(product, "manifold_pressure"),
              charge = *find_pressure(product, "charge_pressure");
};

}  // namespace

TEST_CASE_METHOD(Fixture, "a sweep goes row by row with the speed held and the pressure rising", "[compile][sweep]") {
  const auto points = sweep_points(product, spec);
  REQUIRE(points.size() == 12);
  CHECK(points[0].speed == Rpm{1000});
  CHECK(points[0].speed_changes);
  CHECK_FALSE(points[1].speed_changes);
  CHECK(points[0].index == Kilopascals{50});
  CHECK(points[3].index == Kilopascals{200});
  CHECK(points[4].speed == Rpm{2000});
}

TEST_CASE_METHOD(Fixture, "the two pressures are never the same, so that swapped channels show", "[compile][sweep]") {
  for (const auto& point : sweep_points(product, spec)) {
    CHECK(point.pressures[manifold] == point.index);
    CHECK(point.pressures[charge] > point.pressures[manifold]);
  }
}

TEST_CASE_METHOD(Fixture, "a stated share of points is read again from above, after a higher pressure",
                 "[compile][sweep]") {
  spec.from_above = 0.25;
  const auto points = sweep_points(product, spec);
  const auto again = std::count_if(points.begin(), points.end(), [](const auto& p) { return p.from_above; });
  CHECK(again == 2);  // a quarter of the nine points that have one above them in their row
  for (std::size_t i = 1; i < points.size(); ++i) {
    if (!points[i].from_above) continue;
    CHECK(points[i - 1].index > points[i].index);
    CHECK(points[*points[i].first_reading].index == points[i].index);
    CHECK(points[*points[i].first_reading].speed == points[i].speed);
  }
}

TEST_CASE_METHOD(Fixture, "the shipped sweep visits breakpoints, midpoints and points beyond the axes",
                 "[compile][sweep]") {
  const auto scenario = shipped::end_of_line();
  const auto sweep = shipped::sweep_of(scenario);
  const auto& table = product.tables[product.pressures[manifold].shift->table].table;
  auto visits = [](const auto& among, double value) {
    return std::any_of(among.begin(), among.end(), [&](auto q) { return std::abs(q.value() - value) < 1e-9; });
  };
  for (std::size_t axis = 0; axis < 2; ++axis) {
    const auto points = table.axis(axis);
    for (std::size_t i = 0; i < points.size(); ++i) {
      CAPTURE(axis, points[i]);
      CHECK((axis == 0 ? visits(sweep.speeds, points[i]) : visits(sweep.pressures, points[i])));
      if (i == 0) continue;
      const double middle = (points[i - 1] + points[i]) / 2;
      CHECK((axis == 0 ? visits(sweep.speeds, middle) : visits(sweep.pressures, middle)));
    }
  }
  CHECK(*std::max_element(sweep.speeds.begin(), sweep.speeds.end()) > Rpm{table.axis(0).back()});
  CHECK(*std::max_element(sweep.pressures.begin(), sweep.pressures.end()) > Kilopascals{table.axis(1).back()});
  CHECK(*std::min_element(sweep.pressures.begin(), sweep.pressures.end()) < Kilopascals{table.axis(1).front()});
}

TEST_CASE_METHOD(Fixture, "the last region that covers a point gives its tolerance", "[compile][sweep]") {
  spec.band = {1.5, 0};
  spec.regions = {{Rpm{0}, Rpm{2500}, {}, {}, {}, {}, {2.0, 0}},
                  {{}, {}, Kilopascals{140}, Kilopascals{160}, {}, {}, {1.0, 0}}};
  const auto points = sweep_points(product, spec);
  CHECK(tolerance_at(spec, points[0]).absolute == 2.0);  // 1000 rpm, 50 kPa
  CHECK(tolerance_at(spec, points[2]).absolute == 1.0);  // 1000 rpm, 150 kPa: the later region
  CHECK(tolerance_at(spec, points[8]).absolute == 1.5);  // 3000 rpm, 50 kPa: neither
}
