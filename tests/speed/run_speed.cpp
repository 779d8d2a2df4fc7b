// Whole end-of-line runs in virtual time, on one core: compiled once, then emulate, judge, verdict. Beside it what the
// bench's physics asks for, so that a scenario's own time can be held against it.
//
//   run_speed [SCENARIO [BENCH]]
#include <algorithm>
#include <chrono>
#include <iostream>

#include <fmt/format.h>

#include "drivers/emulated/emulated_bench.hpp"
#include "rig/compile/load.hpp"
#include "rig/compile/plan.hpp"
#include "rig/run/run.hpp"

int main(int argc, char** argv) {
  const std::string source = PROOFSTAND_SOURCE_DIR;
  const auto scenario = rig::load_scenario(argc > 1 ? argv[1] : source + "/scenarios/end-of-line.yaml");
  const auto bench = rig::load_bench(argc > 2 ? argv[2] : source + "/scenarios/benches/emulated.yaml");
  if (!scenario.value || !bench.value) return 2;
  rig::RunFacts facts;
  facts.serial = "T00001";  // the unit must say the number that its run was started for
  const auto compiled = rig::compile(*scenario.value, *bench.value, rig::capabilities_of(*bench.value), facts);
  if (!compiled.plan) return 2;

  constexpr int kBatches = 5, kRuns = 20;
  std::vector<double> rates;
  rig::Outcome last;
  for (int batch = 0; batch < kBatches; ++batch) {
    const auto start = std::chrono::steady_clock::now();
    for (int i = 0; i < kRuns; ++i) {
      auto setup = *bench.value;
      setup.seed = static_cast<std::uint64_t>(batch * kRuns + i);
      const auto opened = drivers::open_emulated(setup, scenario.value->product, {facts.serial, {}, false});
      rig::RunListener nobody;
      last = rig::run(*compiled.plan, *opened, nobody);
      if (last.verdict != rig::Verdict::pass) return std::cerr << last.reason << '\n', 1;
    }
    rates.push_back(kRuns / std::chrono::duration<double>(std::chrono::steady_clock::now() - start).count());
  }
  std::sort(rates.begin(), rates.end());
  const double bound = rig::seconds(compiled.plan->bound), bench_s = rig::seconds(last.bench_duration);
  std::cout << fmt::format("runs_per_second median {:.1f} worst {:.1f} best {:.1f}\n", rates[kBatches / 2],
                           rates.front(), rates.back());
  std::cout << fmt::format("bound_s {:.3f} bench_s {:.3f} ratio {:.4f}\n", bound, bench_s, bench_s / bound);
  std::cout << fmt::format("segments {} findings {}\n", last.segments_played, last.findings.size());
}
