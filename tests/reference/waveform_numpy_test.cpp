// Levels, transitions, overshoot and settling against an independent reckoning of the same definitions in NumPy.
#include <cstdio>
#include <sstream>
#include <string>
#include <vector>

#include "rig/measure/step_answer.hpp"
#include "rig/measure/waveform.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;

namespace {

constexpr double kPeriod = 1e-4;

std::string answer_of_numpy() {
  const std::string script = std::string{PROOFSTAND_SOURCE_DIR} + "/tests/reference/waveform_metrics.py";
  FILE* pipe = popen(("/usr/bin/python3 '" + script + "'").c_str(), "r");
  REQUIRE(pipe);
  std::string text;
  char part[65536];
  while (const std::size_t got = std::fread(part, 1, sizeof part, pipe)) text.append(part, got);
  INFO("This test needs NumPy: rig/install tests");
  REQUIRE(pclose(pipe) == 0);
  return text;
}

}  // namespace

TEST_CASE("levels, crossings, overshoot and settling are those that NumPy reckons", "[reference][waveform]") {
  std::istringstream lines{answer_of_numpy()};
  int cases = 0;
  for (std::string figures, samples; std::getline(lines, figures) && std::getline(lines, samples); ++cases) {
    std::istringstream of{figures}, from{samples};
    int rising = 0;
    double within, low, high, t10, t50, t90, overshoot, settled;
    REQUIRE(of >> rising >> within >> low >> high >> t10 >> t50 >> t90 >> overshoot >> settled);
    std::vector<double> values;
    for (double v; from >> v;) values.push_back(v);
    REQUIRE(values.size() > 3000);
    const auto levels = state_levels(values);
    REQUIRE(levels);
    CAPTURE(cases, rising, within);
    CHECK(levels->low == Approx(low).margin(1e-9));
    CHECK(levels->high == Approx(high).margin(1e-9));
    const Waveform signal{values, kPeriod};
    const auto found = first_transition(signal, *levels, rising == 1);
    REQUIRE(found);
    CHECK(found->t10 == Approx(t10).margin(1e-9));
    CHECK(found->t50 == Approx(t50).margin(1e-9));
    CHECK(found->t90 == Approx(t90).margin(1e-9));
    CHECK(found->overshoot == Approx(overshoot).margin(1e-9));
    const auto settles = settled_at(signal, *levels, rising == 1, within, found->t50);
    REQUIRE(settles);
    CHECK(*settles == Approx(settled).margin(1e-9));
    // A step that answers itself: no delay, its own duration twice.
    const auto itself = std::get<StepAnswer>(answer_of({signal, signal, 0, 0, rising == 1, within}));
    CHECK(itself.delay == 0);
    CHECK(itself.duration == Approx(t90 - t10).margin(1e-9));
    CHECK(itself.settling == Approx(settled - t50).margin(1e-9));
  }
  CHECK(cases == 14);
}
