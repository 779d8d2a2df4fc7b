#include <filesystem>
#include <iostream>

#include <pwd.h>
#include <unistd.h>

#include <fmt/format.h>

#include "rig/cli/bench_request.hpp"
#include "rig/cli/bench_state.hpp"
#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "rig/cli/run_facts.hpp"
#include "rig/cli/run_json.hpp"
#include "rig/cli/terminal.hpp"
#include "rig/store/store_writer.hpp"

namespace rig {
namespace {

std::string whoever(const std::string& named) {
  if (!named.empty()) return named;
  const auto* login = getpwuid(getuid());
  return login && login->pw_name ? login->pw_name : "unknown";
}

double hours_since(WallTime then, WallTime now) { return std::chrono::duration<double>(now - then).count() / 3600; }

Json to_json(const BenchState& state, const BenchSetup& bench, WallTime now) {
  auto passed = [&](const std::optional<StoredRun>& run) {
    return run ? Json{{"run", run->number},
                      {"id", run->id},
                      {"serial", run->opened.serial},
                      {"opened_at", to_text(run->opened.opened_at)},
                      {"age_h", hours_since(run->opened.opened_at, now)}}
               : Json(nullptr);
  };
  Json json{{"format", kJsonFormat}, {"bench", state.bench}, {"matings", state.matings}, {"fixture", nullptr}};
  if (state.fixture)
    json["fixture"] = {{"mounted_at", to_text(state.fixture->happened_at)},
                       {"who", state.fixture->who},
                       {"why", state.fixture->detail}};
  auto& contacts = json["contacts"] = Json::array();
  for (const auto& c : state.contacts)
    contacts.push_back({{"id", c.id},
                        {"in", c.in},
                        {"product", c.product},
                        {"readings", c.readings},
                        {"first", c.first},
                        {"last", c.last},
                        {"latest", c.latest},
                        {"rises", c.rises}});
  json["baseline"] = passed(state.baseline);
  json["shift_start"] = nullptr;
  if (!bench.shift_start_scenario.empty())
    json["shift_start"] = {{"scenario", bench.shift_start_scenario},
                           {"every_h", seconds(bench.shift_start_every) / 3600},
                           {"passed", passed(state.shift_start)}};
  json["lately"] = {{"runs", state.lately}, {"reseats", state.reseats}, {"voids", state.voids}};
  return json;
}

void print_contacts(const std::vector<ContactTrend>& contacts) {
  if (contacts.empty()) {
    std::cout << "  contacts     no run has looked at them yet\n";
    return;
  }
  std::cout << "  contacts     median of the first runs, of the last ones, the latest\n";
  for (const auto& c : contacts)
    std::cout << fmt::format("    {:<40} {:>8.3f} {:>8.3f} {:>8.3f} {}, {} runs of {}{}\n", c.id, c.first, c.last,
                             c.latest, c.in, c.readings, c.product,
                             c.rises ? "   RISES: clean or change this line's pins in the fixture" : "");
}

void print_state(const BenchState& state, const BenchSetup& bench, WallTime now) {
  std::cout << fmt::format("bench {}\n\n", state.bench);
  std::cout << fmt::format("  fixture      {} matings since {}\n", state.matings,
                           state.fixture ? fmt::format("{} ({}: {})", to_text(state.fixture->happened_at),
                                                       state.fixture->who, state.fixture->detail)
                                         : std::string{"the first run here"});
  print_contacts(state.contacts);
  if (state.baseline)
    std::cout << fmt::format(
        "  plug         run {} of {}, {:.1f} h old, in force for {:.1f} h more\n", state.baseline->number,
        state.baseline->opened.serial, hours_since(state.baseline->opened.opened_at, now),
        static_cast<double>(kBaselineHolds.count()) - hours_since(state.baseline->opened.opened_at, now));
  else
    std::cout << "  plug         no reading in force: run the straight-through plug's scenario\n";
  if (!bench.shift_start_scenario.empty()) {
    const double every = seconds(bench.shift_start_every) / 3600;
    const double age = state.shift_start ? hours_since(state.shift_start->opened.opened_at, now) : every + 1;
    std::cout << "  shift start  "
              << (state.shift_start ? fmt::format("passed {:.1f} h ago (run {})", age, state.shift_start->number)
                                    : std::string{"has not passed on this fixture"})
              << (age > every ? fmt::format(": run {} before the next unit", bench.shift_start_scenario) : "") << '\n';
  }
  std::cout << fmt::format("  lately       {} re-seats and {} voids in the last {} runs\n", state.reseats, state.voids,
                           state.lately);
}

}  // namespace

int bench_command(const BenchCommand& asked) {
  auto bench = load_bench(asked.bench);
  if (complain(bench.complaints) || !bench.value) return kBadInput;
  std::string shift_start;
  if (!bench.value->shift_start_scenario.empty()) {
    const auto scenario = load_scenario(bench.value->shift_start_scenario);
    if (complain(scenario.complaints)) return kBadInput;
    shift_start = scenario.value->name;
  }
  if (asked.new_fixture) {
    if (asked.new_fixture->empty()) {
      std::cerr << "--new-fixture needs a reason: what was mounted, and why. It is kept in the store.\n";
      return kBadInput;
    }
    StoreWriter writer{asked.store};
    writer.wait(
        writer.add_audit({whoever(asked.operator_name), kNewFixture, bench.value->name, *asked.new_fixture, {}}));
  }
  need_store(asked.store);
  const auto now = wall_time_now();
  const auto state = bench_state(StoreReader{asked.store}, bench.value->name, shift_start, now);
  if (asked.json)
    print(to_json(state, *bench.value, now));
  else
    print_state(state, *bench.value, now);
  return kDone;
}

}  // namespace rig
