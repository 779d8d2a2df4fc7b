#include "rig/cli/run_json.hpp"

#include <cmath>
#include <iostream>

#include "rig/cli/run_notes.hpp"
#include "rig/cli/terminal.hpp"
#include "rig/store/wall_time.hpp"

namespace rig {
namespace {

Json number(double value) { return std::isfinite(value) ? Json(value) : Json(nullptr); }
Json number(const std::optional<double>& value) { return value ? number(*value) : Json(nullptr); }

}  // namespace

Json to_json(const Finding& f) {
  Json json{{"id", f.id},
            {"step", f.step},
            {"verdict", to_text(f.verdict)},
            {"value", number(f.value)},
            {"expected", number(f.expected)},
            {"low", number(f.low)},
            {"high", number(f.high)},
            {"in", f.in},
            {"uncertainty", number(f.uncertainty)},
            {"margin", number(f.margin)}};
  if (!f.reason.empty()) json["reason"] = f.reason;
  return json;
}

Json to_json(const StoredRun& run, bool retest_due) {
  Json json{{"format", kJsonFormat},
            {"run", run.number},
            {"id", run.id},
            {"serial", run.opened.serial},
            {"verdict", run.closed ? Json(to_text(run.closed->verdict)) : Json(nullptr)},
            {"shown_as", run.closed ? Json(verdict_word(*run.closed)) : Json(nullptr)},
            {"reason", run.closed ? run.closed->reason : "the run is not closed yet"},
            {"product", run.opened.product},
            {"scenario", run.opened.scenario},
            {"bench", run.opened.bench},
            {"purpose", run.opened.purpose},
            {"attempt", run.opened.attempt},
            {"reseats", run.reseats},
            {"retest_due", retest_due},
            {"operator", run.opened.operator_name},
            {"defects", run.opened.defects},
            {"program", run.opened.program},
            {"opened_at", to_text(run.opened.opened_at)}};
  auto& inputs = json["inputs"] = Json::array();
  for (const auto& input : run.opened.inputs)
    inputs.push_back({{"role", input.role}, {"path", input.path}, {"sha256", input.sha256}});
  if (!run.closed) return json;
  const auto& closed = *run.closed;
  json["closed_at"] = to_text(closed.closed_at);
  json["end"] = to_text(closed.end);
  json["outputs_safe"] = closed.outputs_safe;
  json["supply_v"] =
      closed.supply ? number(std::round(closed.supply->value() * 1e3) / 1e3) : Json(nullptr);  // to a millivolt
  json["bench_s"] = seconds(closed.bench_duration);
  json["host_s"] = seconds(closed.host_duration);
  json["segments_repeated"] = closed.segments_repeated;
  json["counts"] = {{"pass", closed.counts.pass},
                    {"fail", closed.counts.fail},
                    {"undecided", closed.counts.undecided},
                    {"void", closed.counts.void_}};
  return json;
}

Json to_json(const StoredRun& run, std::span<const StoredFinding> findings, std::span<const RunEvent> events,
             bool retest_due) {
  auto json = to_json(run, retest_due);
  for (const char* kind : {"identity", "surroundings"}) {
    auto& notes = json[kind] = Json::object();
    for (const auto& [what, text] : noted(events, kind)) notes[what] = text;
  }
  auto& happened = json["events"] = Json::array();
  for (const auto& event : events) happened.push_back({{"kind", event.kind}, {"text", event.text}, {"who", event.who}});
  auto& list = json["findings"] = Json::array();
  for (const auto& stored : findings) list.push_back(to_json(stored.finding));
  return json;
}

Json to_json(const Complaints& complaints) {
  auto list = Json::array();
  for (const auto& c : complaints)
    list.push_back({{"file", c.file}, {"line", c.line}, {"column", c.column}, {"what", c.what}, {"remedy", c.remedy}});
  return list;
}

void print(const Json& json) {
  std::cout << json.dump(1, ' ', false, Json::error_handler_t::replace) << '\n' << std::flush;
}

}  // namespace rig
