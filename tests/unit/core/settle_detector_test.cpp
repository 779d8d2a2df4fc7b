#include "rig/core/settle_detector.hpp"

#include <algorithm>
#include <cmath>
#include <numbers>

#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

constexpr Nanoseconds kBin = 1ms;
constexpr double kSpan = 0.004;

/// Mean of e * exp(-t / tau) over the bin that begins at t, all in seconds.
double decay(double e, double tau, double t) {
  const double bin = seconds(kBin);
  return e * tau / bin * (std::exp(-t / tau) - std::exp(-(t + bin) / tau));
}

}  // namespace

TEST_CASE("a constant signal settles as soon as one window is full", "[core][settle]") {
  SettleDetector detector{20ms, kBin, kSpan, 10ms};
  for (int i = 1; i < 20; ++i) CHECK_FALSE(detector.take(2.5));
  CHECK(detector.take(2.5));
  CHECK(detector.bins_since_first_held() == 0u);
  CHECK(detector.take(2.5));
  CHECK(detector.bins_since_first_held() == 1u);
  SECTION("a jump unsettles it") {
    CHECK_FALSE(detector.take(2.6));
    CHECK_FALSE(detector.bins_since_first_held());
    for (int i = 1; i < 19; ++i) CHECK_FALSE(detector.take(2.6));
    CHECK(detector.take(2.6));
  }
  SECTION("a restart forgets all") {
    detector.restart();
    CHECK_FALSE(detector.settled());
    for (int i = 1; i < 20; ++i) CHECK_FALSE(detector.take(2.5));
    CHECK(detector.take(2.5));
  }
  SECTION("a bin that was not measured restarts it") {
    CHECK_FALSE(detector.take(std::nan("")));
    for (int i = 1; i < 20; ++i) CHECK_FALSE(detector.take(2.5));
    CHECK(detector.take(2.5));
  }
}

TEST_CASE("it never declares early on a first-order filter, however slow", "[core][settle]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int round = 0; round < 2000; ++round) {
    const auto bins = pick(random, 2, 60);
    const double slowest = std::exp(pick_real(random, std::log(0.0005), std::log(2.0)));
    const double tau = slowest * pick_real(random, 0.02, 1);
    const double step = pick_real(random, -5, 5), phase = pick_real(random, 0, seconds(kBin));
    SettleDetector detector{kBin * bins, kBin, kSpan, Nanoseconds{std::llround(slowest * 1e9)}};
    INFO(bins << " bins, tau " << tau << " s of at most " << slowest << " s, step " << step << ", phase " << phase);
    double t = phase;
    for (int i = 0; i < 200'000; ++i, t += seconds(kBin)) {
      if (!detector.take(1 + decay(step, tau, t))) continue;
      // What is still to come, from the end of the bin that settled it.
      REQUIRE(std::abs(step) * std::exp(-(t + seconds(kBin)) / tau) <= kSpan * (1 + 1e-6));
      break;
    }
    REQUIRE(detector.settled());
  }
}

TEST_CASE("noise may make it wait, or err by the noise, but not by the step", "[core][settle]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  // Bounded noise of a tenth of the span: the halves' means are then off by at most a tenth each, and what is to come
  // by two tenths over the header's factor (at least 0.9 here).
  constexpr double kNoise = kSpan / 10;
  for (int round = 0; round < 500; ++round) {
    const double tau = pick_real(random, 0.002, 0.010), step = pick_real(random, -2, 2);
    SettleDetector detector{20ms, kBin, kSpan, 10ms};
    INFO("tau " << tau << ", step " << step);
    double t = 0;
    while (!detector.take(decay(step, tau, t) + pick_real(random, -kNoise, kNoise))) t += seconds(kBin);
    REQUIRE(std::abs(step) * std::exp(-(t + seconds(kBin)) / tau) <= kSpan * 1.3);
  }
}

TEST_CASE("a limit cycle whose period is at most the window never passes", "[core][settle]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  const bool square = GENERATE(true, false);
  for (int round = 0; round < 300; ++round) {
    const double period = pick_real(random, 2.5, 20);  // bins
    const double phase = pick_real(random, 0, period);
    // Large enough that the bin means, which smooth it, still differ by more than the span.
    const double smoothing = square ? 1 : std::sin(std::numbers::pi / period) / (std::numbers::pi / period);
    const double amplitude = kSpan * pick_real(random, 1.3, 50) / smoothing;
    SettleDetector detector{20ms, kBin, kSpan, 10ms};
    INFO("period " << period << " bins, phase " << phase << ", amplitude " << amplitude);
    for (int i = 0; i < 2000; ++i) {
      const double at = std::fmod(i + phase, period) / period;
      const double value = square ? (at < 0.5 ? 1 : -1) : std::sin(2 * std::numbers::pi * at) * smoothing;
      REQUIRE_FALSE(detector.take(amplitude * value));
    }
  }
}

TEST_CASE("a drift faster than the span in a window never passes", "[core][settle]") {
  SettleDetector detector{20ms, kBin, kSpan, 10ms};
  for (int i = 0; i < 1000; ++i) CHECK_FALSE(detector.take(i * kSpan / 18));
}
