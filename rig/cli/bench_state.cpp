#include "rig/cli/bench_state.hpp"

#include <algorithm>
#include <cmath>

#include "rig/cli/run_facts.hpp"

namespace rig {
namespace {

double median(std::vector<double> values) {
  const auto middle = values.begin() + static_cast<std::ptrdiff_t>(values.size() / 2);
  std::nth_element(values.begin(), middle, values.end());
  if (values.size() % 2 == 1) return *middle;
  return (*middle + *std::max_element(values.begin(), middle)) / 2;
}

/// The first and the last runs are enough for a trend, however many there were.
std::vector<RunNumber> ends_of(const std::vector<RunNumber>& runs) {
  constexpr std::size_t kEnough = 2 * BenchState::kTrendRuns;
  if (runs.size() <= 2 * kEnough) return runs;
  std::vector<RunNumber> ends(runs.begin(), runs.begin() + kEnough);
  ends.insert(ends.end(), runs.end() - kEnough, runs.end());
  return ends;
}

struct Series {
  std::string id, in, product;
  std::vector<double> readings;
};

void take_readings(const StoreReader& reader, const StoredRun& run, std::vector<Series>& all) {
  for (const auto& stored : reader.findings(run.number)) {
    const auto& f = stored.finding;
    if (!f.id.starts_with("contacts/") || f.id.starts_with("contacts/short/") || f.in != "ohm") continue;
    // What did not pass may be a unit's own pin, or how it sat: it says nothing of the fixture.
    if (f.verdict != Verdict::pass || !std::isfinite(f.value)) continue;
    auto known = std::find_if(all.begin(), all.end(),
                              [&](const Series& s) { return s.id == f.id && s.product == run.opened.product; });
    if (known == all.end()) known = all.insert(all.end(), {f.id, f.in, run.opened.product, {}});
    known->readings.push_back(f.value);
  }
}

std::vector<ContactTrend> trends(const StoreReader& reader, const std::vector<RunNumber>& runs) {
  std::vector<Series> all;
  for (const auto number : ends_of(runs)) take_readings(reader, reader.load_run(number), all);
  std::vector<ContactTrend> found;
  for (const auto& series : all) {
    const bool longest = std::none_of(all.begin(), all.end(), [&](const Series& other) {
      return other.id == series.id && (other.readings.size() > series.readings.size() ||
                                       (other.readings.size() == series.readings.size() && &other < &series));
    });
    if (!longest) continue;
    found.push_back(contact_trend(series.id, series.in, series.readings));
    found.back().product = series.product;
  }
  return found;
}

std::optional<StoredRun> last_passed(const StoreReader& reader, const std::vector<RunNumber>& runs,
                                     const std::string& scenario) {
  if (scenario.empty()) return std::nullopt;
  for (auto number = runs.rbegin(); number != runs.rend(); ++number) {
    auto run = reader.load_run(*number);
    if (run.opened.scenario == scenario && run.closed && run.closed->verdict == Verdict::pass) return run;
  }
  return std::nullopt;
}

}  // namespace

ContactTrend contact_trend(std::string id, std::string in, const std::vector<double>& readings) {
  const std::size_t n = std::clamp<std::size_t>(readings.size() / 2, 1, BenchState::kTrendRuns);
  const auto part = static_cast<std::ptrdiff_t>(n);
  ContactTrend trend;
  trend.id = std::move(id);
  trend.in = std::move(in);
  trend.readings = readings.size();
  trend.first = median({readings.begin(), readings.begin() + part});
  trend.last = median({readings.end() - part, readings.end()});
  trend.latest = readings.back();
  trend.rises = trend.last > trend.first + std::max(BenchState::kRise, std::abs(trend.first) / 2);
  return trend;
}

BenchState bench_state(const StoreReader& reader, const std::string& bench, const std::string& shift_start,
                       WallTime now) {
  BenchState state;
  state.bench = bench;
  auto fixtures = reader.audits(kNewFixture, bench);
  if (!fixtures.empty()) state.fixture = std::move(fixtures.front());
  const auto runs = reader.runs_on(bench, kNewFixture);
  state.matings = runs.size();
  state.contacts = trends(reader, runs);
  state.baseline = baseline_run(reader, bench, {}, now);
  state.shift_start = last_passed(reader, runs, shift_start);
  state.lately = std::min(runs.size(), BenchState::kLately);
  for (std::size_t i = runs.size() - state.lately; i < runs.size(); ++i) {
    const auto run = reader.load_run(runs[i]);
    if (!run.closed || run.closed->verdict != Verdict::void_) continue;
    ++(run.reseated() ? state.reseats : state.voids);
  }
  return state;
}

}  // namespace rig
