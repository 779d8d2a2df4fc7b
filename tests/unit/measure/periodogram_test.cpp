#include "rig/measure/periodogram.hpp"

#include <cmath>
#include <numbers>
#include <random>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

constexpr double kPeriod = 1e-3;

std::vector<double> noise(std::mt19937& random, std::size_t count, double deviation) {
  std::normal_distribution<double> normal{0, deviation};
  std::vector<double> values(count);
  for (auto& v : values) v = normal(random);
  return values;
}
void add_sine(std::vector<double>& values, double amplitude, double hertz) {
  for (std::size_t i = 0; i < values.size(); ++i)
    values[i] += amplitude * std::sin(2 * std::numbers::pi * hertz * kPeriod * static_cast<double>(i) + 0.4);
}

}  // namespace

TEST_CASE("a sine's amplitude and frequency are found, also between the frequencies of the transform",
          "[measure][periodogram]") {
  for (const double hertz : {0.9, 3.0, 17.23, 50.1, 117.77, 180.0}) {
    std::vector<double> values(2000, 0.0);
    add_sine(values, 0.004, hertz);
    const auto line = strongest_line(values, kPeriod, 0.5, 200, 1e-4);
    REQUIRE(line);
    CAPTURE(hertz, line->amplitude, line->frequency);
    CHECK(line->amplitude == Approx(0.004).epsilon(hertz < 1.5 ? 0.1 : 0.03));
    CHECK(line->frequency == Approx(hertz).margin(0.1));
  }
}

TEST_CASE("a line is found in noise several times its size, and told with its doubt", "[measure][periodogram]") {
  std::mt19937 random{20};
  for (int i = 0; i < 50; ++i) {
    auto values = noise(random, 2000, 0.002);
    add_sine(values, 0.0006, 8.3);
    const auto line = strongest_line(values, kPeriod, 0.5, 200, 1e-4);
    REQUIRE(line);
    CHECK(line->above_noise());
    CHECK(line->frequency == Approx(8.3).margin(0.2));
    CHECK(line->amplitude == Approx(0.0006).margin(2 * line->doubt));
  }
}

TEST_CASE("noise alone passes its threshold no oftener than was asked for", "[measure][periodogram]") {
  std::mt19937 random{21};
  const int runs = 1000;
  int above = 0, above_rarely = 0;
  for (int i = 0; i < runs; ++i) {
    const auto values = noise(random, 1000, 0.002);
    above += strongest_line(values, kPeriod, 0.5, 200, 0.05)->above_noise() ? 1 : 0;
    above_rarely += strongest_line(values, kPeriod, 0.5, 200, 1e-4)->above_noise() ? 1 : 0;
  }
  CHECK(above > 25);
  CHECK(above < 75);
  CHECK(above_rarely <= 2);
}

TEST_CASE("what stands still has no line, what is too short for the range says nothing", "[measure][periodogram]") {
  const std::vector<double> still(2000, 0.0), little(10, 0.0);
  REQUIRE(strongest_line(still, kPeriod, 0.5, 200, 1e-4));
  CHECK_FALSE(strongest_line(still, kPeriod, 0.5, 200, 1e-4)->above_noise());
  CHECK_FALSE(strongest_line(little, kPeriod, 0.5, 200, 1e-4));
}
