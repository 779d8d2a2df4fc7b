#include "rig/cli/run_facts.hpp"

#include <algorithm>
#include <cmath>

#include <fmt/format.h>

#include <nlohmann/json.hpp>

namespace rig {
namespace {

using Json = nlohmann::ordered_json;
constexpr int kFactsFormat = 1;

std::optional<KeptFacts> kept_with(const StoreReader& reader, RunNumber run) {
  for (const auto& input : reader.inputs(run))
    if (input.role == kFactsRole) return facts_from_json(input.bytes);
  return std::nullopt;
}

bool same_connectors(const KeptFacts& a, const KeptFacts& b) {
  if (b.lines.empty() || a.lines.empty()) return false;
  return a.lines == b.lines && (a.pins == b.pins || a.pins.empty() || b.pins.empty());
}

/// The serial's runs on this bench that just before this one ended in a re-seat, newest first: another fixture's
/// contacts say nothing here.
std::vector<RunNumber> reseats_in_a_row(const StoreReader& reader, const std::string& serial,
                                        const std::string& bench) {
  std::vector<RunNumber> row;
  const auto attempts = reader.attempts_of(serial);
  for (auto run = attempts.rbegin(); run != attempts.rend(); ++run) {
    if (!run->closed || run->opened.bench != bench) continue;
    if (run->reseated())
      row.push_back(run->number);
    else if (run->closed->end == RunEnd::completed || run->closed->verdict != Verdict::void_)
      break;
  }
  return row;
}

bool contacts_passed(const StoreReader& reader, RunNumber run, const std::vector<std::string>& fit_steps) {
  std::size_t passed = 0;
  for (const auto& stored : reader.findings(run)) {
    if (std::find(fit_steps.begin(), fit_steps.end(), stored.finding.step) == fit_steps.end()) continue;
    if (stored.finding.verdict != Verdict::pass) return false;
    ++passed;
  }
  return passed > 0;
}

bool plug_cleared_since(const StoreReader& reader, const std::string& bench, const KeptFacts& of, RunNumber first) {
  for (const auto number : reader.runs_on(bench, kNewFixture)) {
    if (number <= first) continue;
    const auto kept = kept_with(reader, number);
    if (kept && kept->straight_through && same_connectors(of, *kept) &&
        contacts_passed(reader, number, kept->fit_steps))
      return true;
  }
  return false;
}

std::vector<std::string> texts(const Json& list) {
  std::vector<std::string> all;
  for (const auto& one : list) all.push_back(one.get<std::string>());
  return all;
}

template <class Spec>
bool has_step(const Scenario& scenario) {
  return std::any_of(scenario.steps.begin(), scenario.steps.end(),
                     [](const StepSpec& step) { return std::holds_alternative<Spec>(step); });
}

void remark_on_reseats(const Scenario& scenario, const RunFacts& facts, std::vector<std::string>& remarks) {
  for (const auto& step : scenario.steps) {
    const auto* contacts = std::get_if<ContactsSpec>(&step);
    if (!contacts || facts.reseats < contacts->reseats || contacts->reseats == 0) continue;
    remarks.push_back(
        facts.plug_cleared
            ? fmt::format("unit {} did not sit well {} times in a row, and the plug has shown that the fixture is well "
                          "since: a bad contact is now held against the unit",
                          facts.serial, facts.reseats)
            : fmt::format("unit {} did not sit well {} times in a row: run the straight-through plug on this bench. "
                          "If its contacts pass, the unit's own are to blame; if not, the fixture's",
                          facts.serial, facts.reseats));
  }
}

}  // namespace

std::string facts_json(const KeptFacts& kept) {
  const auto& facts = kept.facts;
  Json json{{"format", kFactsFormat},
            {"serial", facts.serial},
            {"reseats", facts.reseats},
            {"plug_cleared", facts.plug_cleared},
            {"straight_through", kept.straight_through},
            {"lines", kept.lines},
            {"pins", kept.pins},
            {"fit_steps", kept.fit_steps}};
  if (facts.baseline) {
    auto& baseline = json["baseline"] = {{"run", facts.baseline->run}, {"values", Json::array()}};
    for (const auto& [id, value] : facts.baseline->values) baseline["values"].push_back({{"id", id}, {"value", value}});
  }
  return json.dump(1, ' ', false, Json::error_handler_t::replace) + "\n";
}

std::optional<KeptFacts> facts_from_json(std::string_view text) {
  try {
    const auto json = Json::parse(text);
    if (json.at("format") != kFactsFormat) return std::nullopt;
    KeptFacts kept;
    kept.facts.serial = json.at("serial").get<std::string>();
    kept.facts.reseats = json.at("reseats").get<int>();
    kept.facts.plug_cleared = json.at("plug_cleared").get<bool>();
    kept.straight_through = json.at("straight_through").get<bool>();
    kept.lines = texts(json.at("lines"));
    kept.pins = texts(json.at("pins"));
    kept.fit_steps = texts(json.at("fit_steps"));
    if (const auto found = json.find("baseline"); found != json.end()) {
      auto& baseline = kept.facts.baseline.emplace();
      baseline.run = found->at("run").get<std::string>();
      for (const auto& one : found->at("values"))
        baseline.values.emplace_back(one.at("id").get<std::string>(), one.at("value").get<double>());
    }
    return kept;
  } catch (const Json::exception&) {
    return std::nullopt;
  }
}

KeptFacts facts_without_store(const Scenario& scenario, const std::string& serial) {
  const auto& product = *scenario.product;
  KeptFacts kept;
  kept.facts.serial = serial;
  kept.straight_through = product.straight_through;
  for (const auto& channel : product.pressures) kept.lines.push_back(channel.name);
  if (product.temperature) kept.lines.push_back(product.temperature->name);
  for (const auto& rail : product.rails) kept.lines.push_back(rail.name);
  for (const auto& pin : product.pins) kept.pins.push_back(pin.name);
  for (const auto& step : scenario.steps)
    if (const auto* contacts = std::get_if<ContactsSpec>(&step)) kept.fit_steps.push_back(contacts->name);
  std::sort(kept.lines.begin(), kept.lines.end());
  std::sort(kept.pins.begin(), kept.pins.end());
  return kept;
}

std::optional<StoredRun> baseline_run(const StoreReader& reader, std::string_view bench, const KeptFacts& of,
                                      WallTime now) {
  const auto of_this_fixture = reader.runs_on(bench, kNewFixture);
  for (auto number = of_this_fixture.rbegin(); number != of_this_fixture.rend(); ++number) {
    auto run = reader.load_run(*number);
    if (now - run.opened.opened_at > kBaselineHolds) break;
    if (run.opened.purpose != "bench" || !run.closed || run.closed->verdict != Verdict::pass) continue;
    const auto kept = kept_with(reader, *number);
    if (kept && kept->straight_through && (of.lines.empty() || same_connectors(of, *kept))) return run;
  }
  return std::nullopt;
}

KeptFacts gather_facts(const StoreReader& reader, const Scenario& scenario, const BenchSetup& bench,
                       const std::string& serial, WallTime now, std::vector<std::string>& remarks) {
  auto kept = facts_without_store(scenario, serial);
  const auto row = reseats_in_a_row(reader, serial, bench.name);
  kept.facts.reseats = static_cast<int>(row.size());
  kept.facts.plug_cleared = !row.empty() && plug_cleared_since(reader, bench.name, kept, row.back());
  remark_on_reseats(scenario, kept.facts, remarks);
  if (kept.straight_through) return kept;  // the plug is measured by itself
  if (const auto run = baseline_run(reader, bench.name, kept, now)) {
    auto& baseline = kept.facts.baseline.emplace();
    baseline.run = run->id;
    for (const auto& stored : reader.findings(run->number))
      if (std::isfinite(stored.finding.value)) baseline.values.emplace_back(stored.finding.id, stored.finding.value);
  } else if (has_step<ContactsSpec>(scenario) || has_step<LoadingSpec>(scenario) || has_step<SpeedLineSpec>(scenario)) {
    remarks.push_back(
        fmt::format("no reading of a straight-through plug is in force on bench '{}' (none passed with these "
                    "connectors in the last {} h): what the bench itself does to levels, edges and resistances is not "
                    "taken off. Run the plug's scenario at the start of each shift",
                    bench.name, kBaselineHolds.count()));
  }
  return kept;
}

}  // namespace rig
