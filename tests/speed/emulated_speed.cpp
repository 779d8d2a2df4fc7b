// How fast virtual time runs: an end-of-line run's worth of timeline on the emulated bench, read to the end.
#include <cstdio>
#include <cstdlib>
#include <ctime>

#include "tests/unit/drivers/emulated/sample_bench.hpp"

namespace {

using namespace sample;

/// Time this thread has kept its core busy: other work on the machine does not count.
double busy_ms() {
  timespec now{};
  clock_gettime(CLOCK_THREAD_CPUTIME_ID, &now);
  return static_cast<double>(now.tv_sec) * 1e3 + static_cast<double>(now.tv_nsec) * 1e-6;
}

/// About 40 s of bench time: five starts, pass-through at several levels, then 400 sweep points in until-segments.
Script end_of_line() {
  Script script;
  script.relay(isolator, true).relay(load, true).hold(20ms);
  for (int start = 0; start < 5; ++start) {
    script.ground(battery).ground(rail).hold(300ms);
    script.set(battery, 13.8).set(rail, 5).celsius(20).kpa(charge_source, 205).kpa(manifold_source, 200).rpm(3500);
    script.hold(500ms);
  }
  for (const double celsius : {20.0, 75.0}) {
    script.celsius(celsius);
    for (int point = 0; point < 200; ++point) {
      const double manifold = 60 + 170 * (point % 12) / 11.0;
      script.rpm(1000 + 300.0 * (point / 12)).kpa(manifold_source, manifold);
      script.kpa(charge_source, manifold + (point % 2 ? 6 : 18));
      script.until_settled({charge_in, charge_out, manifold_in, manifold_out}, 60ms, 400ms);
    }
  }
  script.ground(battery).ground(rail).hold(200ms);
  return script;
}

}  // namespace

int main() {
  const Script script = end_of_line();
  const rig::BenchSetup setup = sample::bench(false);
  const auto product = std::make_shared<const rig::Product>(sample::product());
  const auto bench = drivers::open_emulated(setup, product, {"A00001", {}, false});
  const drivers::SessionPlan what = plan(setup);
  double best = 1e9, bench_time = 0;
  std::size_t bins = 0, settled = 0;
  for (int round = 0; round < 20; ++round) {
    const double begun = busy_ms();
    const auto session = bench->open(what);
    session->append(script.segments);
    session->finish();
    rig::Chunk chunk;
    bins = settled = 0;
    while (session->next(chunk) != drivers::Progress::ended) {
      for (const rig::Block& block : chunk.blocks) bins += block.count;
      for (const rig::SegmentRecord& record : chunk.ended) {
        bench_time = rig::seconds(record.end.since_start());
        settled += record.reason == rig::SegmentEnd::settled;
      }
    }
    best = std::min(best, busy_ms() - begun);
  }
  std::printf(
      "emulated bench: %.1f s of bench time, %zu tracks, %zu readings, %zu settled points: %.2f ms of one core (best "
      "of 20), %.0f "
      "times life\n",
      bench_time, what.capture.tracks.size(), bins, settled, best, bench_time * 1000 / best);
  return settled > 200 ? EXIT_SUCCESS : EXIT_FAILURE;
}
