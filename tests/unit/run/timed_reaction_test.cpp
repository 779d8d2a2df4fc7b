#include "tests/unit/run/timed_reaction.hpp"

#include <boost/math/distributions/binomial.hpp>
#include <iomanip>
#include <iostream>

#include "tests/unit/catch.hpp"

using namespace rig;
using timed_reaction::ReactionTimer;

namespace {

/// How often the stated interval holds the truth, and how wide it is.
struct Coverage {
  int trials = 0, held = 0;
  double widest_ms = 0, worst_ms = 0;
};

/// A module that is quicker than the bench's relay comes to rest cannot be timed better than that.
constexpr int kRelay = 8;  // ms

Coverage cover(int debounce_ms, int trials) {
  const ReactionTimer timer{std::chrono::milliseconds{debounce_ms}};
  Coverage coverage;
  for (int i = 0; i < trials; ++i) {
    const auto trial = timer.trial(static_cast<std::uint64_t>(1000 * debounce_ms + i));
    ++coverage.trials;
    coverage.held += trial.holds();
    coverage.widest_ms = std::max(coverage.widest_ms, trial.doubt_ms);
    coverage.worst_ms = std::max(coverage.worst_ms, std::abs(trial.measured_ms - trial.true_ms));
  }
  return coverage;
}

/// The probability of so few intervals that hold, were 95 % of them to: a coverage that is too small shows as next to
/// none. One that is greater is no fault: limits of error are taken as rectangular, and those have no tails.
double chance_of_so_few(const Coverage& coverage) {
  return boost::math::cdf(boost::math::binomial{static_cast<double>(coverage.trials), 0.95},
                          static_cast<double>(coverage.held));
}

}  // namespace

TEST_CASE("a reaction time is stated with an interval that holds the truth", "[run][fault]") {
  for (const int debounce : {2, 15, 120}) {
    const auto coverage = cover(debounce, 20);
    CAPTURE(debounce, coverage.held, coverage.worst_ms, coverage.widest_ms);
    CHECK(chance_of_so_few(coverage) > 0.001);
    CHECK(coverage.widest_ms < (debounce < kRelay ? 3 : 1));
  }
}

TEST_CASE("intervals of reaction times from 2 ms to 500 ms hold the truth at their stated rate",
          "[run][fault][matrix]") {
  for (const int debounce : {2, 3, 4, 5, 7, 10, 13, 15, 20, 25, 30, 40, 50, 70, 100, 150, 200, 300, 400, 500}) {
    const auto coverage = cover(debounce, 400);
    std::cout << "falls back after " << std::setw(3) << debounce << " ms: " << coverage.held << " of "
              << coverage.trials << " intervals hold the truth, +-" << std::fixed << std::setprecision(3)
              << coverage.widest_ms << " ms at most, off by " << coverage.worst_ms << " ms at most\n"
              << std::defaultfloat;
    CAPTURE(debounce, coverage.held);
    CHECK(chance_of_so_few(coverage) > 0.001);
    CHECK(coverage.widest_ms < (debounce < kRelay ? 3 : 1));
  }
}
