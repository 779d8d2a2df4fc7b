#include <vector>

#include "rig/core/table.hpp"
#include "tests/unit/catch.hpp"

using rig::Table;

namespace {

Table table(std::vector<std::vector<double>> axes, std::vector<double> cells) {
  return std::get<Table>(Table::make(std::move(axes), std::move(cells)));
}

const std::vector<double> kX{600, 1000, 1800, 3200, 5000, 6500}, kY{0, 15, 40, 80, 100};
const std::vector<double> kCells{0,    1.5, 4, 6.5,  7,  0.5, 2, 5.25, 8,  8.75, 1,   3, 7.5, 11.25, 12,
                                 1.25, 4.5, 9, 13.5, 15, 1,   4, 8,    12, 14.5, 0.5, 3, 6,   10,    11};

}  // namespace

// Computed three ways that agree to 12 decimals: exact rational arithmetic, SciPy 1.10.1 RegularGridInterpolator,
// GSL 2.7.1 interp2d bilinear; inputs clamped to the axis ends.
TEST_CASE("two axes interpolate as two reference libraries do", "[reference][interpolation]") {
  const Table t = table({kX, kY}, kCells);
  struct Row {
    double x, y, value;
  };
  for (const Row& row : {Row{600, 0, 0}, Row{1800, 40, 15.0 / 2}, Row{800, 7.5, 1},
                         Row{1234.5, 33.3, 1580907.0 / 320000}, Row{2750, 62.1, 487017.0 / 44800},
                         Row{4100, 90, 55.0 / 4}, Row{6499.999, 99.999, 659997139997.0 / 60000000000.0},
                         Row{300, 50, 37.0 / 8}, Row{9000, -5, 1.0 / 2}, Row{3200, 120, 15}}) {
    INFO(row.x << ", " << row.y);
    CHECK(t(row.x, row.y) == Approx(row.value).epsilon(1e-12).margin(1e-12));
  }
}

// A small map reckoned with Python, standard library only. Rows run over y, so y is the first axis here.
TEST_CASE("a small map interpolates and clamps as reckoned", "[reference][interpolation]") {
  const Table t = table({{100, 150, 200}, {1000, 2000, 3000}}, {0, 10, 20, 5, 20, 40, 10, 35, 60});
  CHECK(t(125, 1500) == Approx(8.75));
  CHECK(t(125, 2500) == Approx(22.5));
  CHECK(t(175, 1500) == Approx(17.5));
  CHECK(t(160, 2750) == Approx(38.75));
  CHECK(t(150, 2000) == 20);
  CHECK(t(200, 3000) == 60);
  CHECK(t(250, 3500) == 60);
  CHECK(t(50, 500) == 0);
  CHECK(t(199.99, 2999.9) == Approx(59.9935).margin(5e-5));
}

// SciPy 1.10.1 RegularGridInterpolator; the layers are 0.9 times the table, the table, 1.2 times the table + 0.5.
TEST_CASE("three axes interpolate as a reference library does", "[reference][interpolation]") {
  std::vector<double> cells;
  for (const double cell : kCells) cells.insert(cells.end(), {0.9 * cell, cell, 1.2 * cell + 0.5});
  const Table t = table({kX, kY, {-40, 20, 85}}, cells);
  CHECK(t(1234.5, 33.3, 0) == Approx(4.775656562500).epsilon(1e-12));
  CHECK(t(2750, 62.1, 50) == Approx(12.105153502747).epsilon(1e-12));
  CHECK(t(4100, 90, 85) == Approx(17.0).epsilon(1e-12));
  CHECK(t(300, 50, -60) == Approx(4.1625).epsilon(1e-12));
}

// NumPy 1.24.2 interp.
TEST_CASE("one axis interpolates as a reference library does", "[reference][interpolation]") {
  const Table t = table({{0.5, 1.0, 2.0, 3.5, 4.5}}, {20, 50, 115, 200, 250});
  CHECK(t(0.2) == 20);
  CHECK(t(0.5) == 20);
  CHECK(t(0.75) == Approx(35));
  CHECK(t(1.25) == Approx(66.25));
  CHECK(t(2.6) == Approx(149));
  CHECK(t(4.49) == Approx(249.5));
  CHECK(t(4.5) == 250);
  CHECK(t(5.0) == 250);
}
