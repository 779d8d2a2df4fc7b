// What is read off a recording to be compared with another look at the same wires.
#include "rig/compile/looks.hpp"

#include "rig/compile/self_test_timing.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/compile/made_up_slice.hpp"

using namespace rig;
using namespace std::chrono_literals;

TEST_CASE("in a difference of two looks the sense's limit of error cancels", "[compile][looks]") {
  made_up::Recording quiet, loaded;
  const auto track = quiet.sense("line");
  loaded.sense("line");
  quiet.fill(track, 50, [](std::size_t) { return made_up::flat(1.0); });
  loaded.fill(track, 50, [](std::size_t) { return made_up::flat(0.99); });
  const Looking looking{{track}, 50ms};
  const auto before = looking.at(looking.look(quiet.readings()), track);
  const auto after = looking.at(looking.look(loaded.readings()), track);
  CHECK(before.full > 0.001);
  const auto moved = change(before, after);
  CHECK(moved.value == Approx(-0.01).margin(1e-5));
  CHECK(moved.doubt < 0.00005);
}

TEST_CASE("readings without any noise resolve no more than a converter's step", "[compile][looks]") {
  made_up::Recording recording;
  const auto track = recording.sense("line");
  recording.fill(track, 100, [](std::size_t) { return made_up::flat(1.0, 0); });
  const auto reading = recording.readings().at_end(track, 100ms);
  CHECK(reading.repeatability == Approx(2 * made_up::Recording::kStep / std::sqrt(12.0)));
}

TEST_CASE("a look is void with a gap, a flag of the rig or nothing to read", "[compile][looks]") {
  made_up::Recording recording;
  const auto track = recording.sense("line");
  const Looking looking{{track}, 20ms};
  CHECK(looking.look(recording.readings()).voided == "port 'line' gave no readings");
  recording.fill(track, 20, [](std::size_t) { return made_up::flat(1.0); });
  CHECK(looking.look(recording.readings()).voided.empty());
  recording.slice.tracks[0].gap = true;
  CHECK_FALSE(looking.look(recording.readings()).voided.empty());
}

TEST_CASE("a wheel's levels are read in bins that hold one level only", "[compile][looks]") {
  made_up::Recording recording;
  const auto track = recording.sense("speed");
  recording.fill(track, 40, [](std::size_t b) {
    if (b % 10 == 4) return made_up::Bin{0.1, 5.0, 2.0};  // an edge
    return made_up::flat(b % 10 < 4 ? 0.1 : 5.0);
  });
  const auto levels = levels_of(recording.readings(), track, track, 40ms);
  CHECK(levels.low.value == Approx(0.1).margin(1e-5));
  CHECK(levels.high.value == Approx(5.0).margin(1e-5));
  CHECK(levels.low_bins == 16);
  CHECK(levels.high_bins == 20);
}

TEST_CASE("a line that never moves has no levels", "[compile][looks]") {
  made_up::Recording recording;
  const auto track = recording.sense("speed");
  recording.fill(track, 40, [](std::size_t) { return made_up::flat(5.0); });
  CHECK(levels_of(recording.readings(), track, track, 40ms).low_bins == 0);
}

TEST_CASE("the lag behind a step is the sum of time constants and delays, whatever the bins", "[compile][self_test]") {
  // V(t) = 0.5 + 2 (1 - exp(-(t - d) / tau)): its lag is tau + d.
  const auto lag = [](double tau, double delay) {
    made_up::Recording recording;
    const auto track = recording.sense("line");
    recording.fill(track, 200, [&](std::size_t b) {
      double sum = 0;
      constexpr int kPieces = 1000;
      for (int i = 0; i < kPieces; ++i) {
        const double t = (static_cast<double>(b) + (i + 0.5) / kPieces) * 1e-3 - delay;
        sum += t < 0 ? 0.5 : 2.5 - 2 * std::exp(-t / tau);
      }
      return made_up::flat(sum / kPieces);
    });
    return lag_behind_step(recording.readings(), track, 0.5, 20ms);
  };
  CHECK(lag(0.1e-3, 0) == Approx(0.1e-3).margin(2e-6));
  CHECK(lag(0.1e-3, 0.3e-3) == Approx(0.4e-3).margin(2e-6));
  CHECK(lag(5e-3, 0) == Approx(5e-3).margin(2e-5));
}
