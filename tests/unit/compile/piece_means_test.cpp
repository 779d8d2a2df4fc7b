#include "rig/compile/piece_means.hpp"

#include <numbers>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

/// Thirty pieces of two seconds of an output that lies by `off` and `swing`, once around in 50 s, from its table.
struct Held {
  PieceMeans means;
  FitSums whole;
};
Held held(double off, double swing) {
  Held all;
  for (int piece = 0; piece < 30; ++piece) {
    FitSums sums;
    for (int i = 0; i < 2000; ++i) {
      const double t = i * 1e-3, noise = i % 2 ? 0.05 : -0.05;
      sums.take(t, off + swing * std::cos(2 * std::numbers::pi * (2 * piece + t) / 50) + noise);
    }
    all.means.take(sums);
    all.whole.join(sums, 2.0 * piece);
  }
  return all;
}

}  // namespace

TEST_CASE("a slow cycle that leaves little slope over a whole hold shows from piece to piece", "[compile][hold]") {
  const auto all = held(0, 1);
  CHECK(std::abs(fit_of(all.whole).slope) * 60 < 1);
  CHECK(all.means.range().value == Approx(2).margin(0.05));
  CHECK(all.means.range().doubt < 0.05);
}

TEST_CASE("noise alone is no wandering, and being off the table is none either", "[compile][hold]") {
  const auto all = held(-5, 0);
  CHECK(all.means.range().value < 0.01);
  CHECK(all.means.furthest() == Approx(-5).margin(0.01));
}

TEST_CASE("without a piece nothing wanders", "[compile][hold]") {
  CHECK(PieceMeans{}.range().value == 0);
  CHECK(PieceMeans{}.furthest() == 0);
}
