#include "rig/core/table.hpp"

#include <limits>

#include "tests/unit/catch.hpp"
#include "tests/unit/seed.hpp"

using namespace rig;

namespace {

Table table(std::vector<std::vector<double>> axes, std::vector<double> cells) {
  auto made = Table::make(std::move(axes), std::move(cells));
  if (const auto* error = std::get_if<TableError>(&made)) FAIL(error->message);
  return std::get<Table>(std::move(made));
}

TableError error(std::vector<std::vector<double>> axes, std::vector<double> cells) {
  auto made = Table::make(std::move(axes), std::move(cells));
  REQUIRE(std::holds_alternative<TableError>(made));
  return std::get<TableError>(made);
}

constexpr double kNan = std::numeric_limits<double>::quiet_NaN();
constexpr double kInf = std::numeric_limits<double>::infinity();

}  // namespace

TEST_CASE("a table is linear between breakpoints and clamped beyond them", "[core][table]") {
  const Table t = table({{1000, 2000, 4000}}, {0, 10, 30});
  CHECK(t(1000) == 0);
  CHECK(t(1500) == 5);
  CHECK(t(3000) == 20);
  CHECK(t(4000) == 30);
  CHECK(t(0) == 0);
  CHECK(t(9999) == 30);
  CHECK(t.smallest() == 0);
  CHECK(t.largest() == 30);
}

TEST_CASE("a table's last axis runs fastest", "[core][table]") {
  const Table two = table({{0, 1}, {0, 1, 2}}, {0, 1, 2, 10, 11, 12});
  CHECK(two(0, 2) == 2);
  CHECK(two(1, 0) == 10);
  const Table three = table({{0, 1}, {0, 1}, {0, 1}}, {0, 1, 2, 3, 4, 5, 6, 7});
  CHECK(three(0, 0, 1) == 1);
  CHECK(three(0, 1, 0) == 2);
  CHECK(three(1, 0, 0) == 4);
  CHECK(three(0.5, 0.5, 0.5) == 3.5);
}

TEST_CASE("an axis of one breakpoint makes its table constant along it", "[core][table]") {
  const Table t = table({{1000}, {0, 1}}, {5, 7});
  CHECK(t(0, 0.5) == 6);
  CHECK(t(99999, 0.5) == 6);
}

TEST_CASE("a table's cells come back exactly at its breakpoints, and nothing ever lies outside them", "[core][table]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int round = 0; round < 200; ++round) {
    std::vector<std::vector<double>> axes(2);
    for (auto& axis : axes) {
      double x = pick_real(random, -100, 100);
      for (std::int64_t n = pick(random, 1, 9); n > 0; --n) axis.push_back(x += pick_real(random, 0.001, 500));
    }
    std::vector<double> cells(axes[0].size() * axes[1].size());
    for (double& cell : cells) cell = pick_real(random, -50, 50);
    const Table t = table(axes, cells);
    for (std::size_t i = 0; i < axes[0].size(); ++i) {
      for (std::size_t j = 0; j < axes[1].size(); ++j) {
        REQUIRE(t(axes[0][i], axes[1][j]) == cells[i * axes[1].size() + j]);
      }
    }
    for (int i = 0; i < 20; ++i) {
      const double value = t(pick_real(random, -1000, 5000), pick_real(random, -1000, 5000));
      REQUIRE(value >= t.smallest() - 1e-9);
      REQUIRE(value <= t.largest() + 1e-9);
    }
  }
}

TEST_CASE("what cannot be a table is refused with the place that is wrong", "[core][table]") {
  using Kind = TableError::Kind;
  SECTION("no axis, or too many") {
    CHECK(error({}, {1}).kind == Kind::no_axis);
    CHECK(error({{1}, {1}, {1}, {1}}, {1}).kind == Kind::no_axis);
  }
  SECTION("an axis without a breakpoint") {
    const auto e = error({{1, 2}, {}}, {});
    CHECK(e.kind == Kind::empty_axis);
    CHECK(e.axis == 1);
  }
  SECTION("breakpoints that do not increase") {
    const auto e = error({{1000, 2000, 2000}}, {1, 2, 3});
    CHECK(e.kind == Kind::not_increasing);
    CHECK(e.index == 2);
    CHECK(e.message == "axis 1, breakpoint 3 (2000) is not greater than the one before (2000)");
    CHECK(error({{2, 1}}, {1, 2}).kind == Kind::not_increasing);
  }
  SECTION("numbers that are none") {
    CHECK(error({{1, kNan}}, {1, 2}).kind == Kind::not_finite);
    CHECK(error({{1, kInf}}, {1, 2}).kind == Kind::not_finite);
    const auto e = error({{1, 2}}, {1, kNan});
    CHECK(e.kind == Kind::not_finite);
    CHECK(e.index == 1);
  }
  SECTION("ragged: a cell too few or too many") {
    CHECK(error({{1, 2}, {1, 2}}, {1, 2, 3}).kind == Kind::wrong_cell_count);
    CHECK(error({{1, 2}, {1, 2}}, {1, 2, 3, 4, 5}).message == "the axes ask for 4 cells, there are 5");
  }
}
