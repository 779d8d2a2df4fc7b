#include "reports/run_report.hpp"

#include <algorithm>
#include <utility>

#include "reports/deviation_plots.hpp"
#include "reports/figures.hpp"
#include "reports/findings_table.hpp"
#include "reports/margin_map.hpp"
#include "reports/markup.hpp"
#include "reports/point_map.hpp"
#include "reports/run_report_style.hpp"
#include "reports/strips.hpp"
#include "reports/verdict_mark.hpp"
#include "reports/wrongs.hpp"

namespace rig {

namespace {

struct Tally {
  std::size_t pass = 0, undecided = 0, fail = 0, void_ = 0;
  void add(Verdict verdict) {
    switch (verdict) {
      case Verdict::pass:
        ++pass;
        break;
      case Verdict::undecided:
        ++undecided;
        break;
      case Verdict::fail:
        ++fail;
        break;
      case Verdict::void_:
        ++void_;
        break;
    }
  }
  std::size_t all() const { return pass + undecided + fail + void_; }
};

/// Steps as declared, then those that only findings name.
std::vector<ReportStep> all_steps(const RunReport& report) {
  std::vector<ReportStep> steps = report.steps;
  for (const auto& finding : report.findings)
    if (std::none_of(steps.begin(), steps.end(), [&](const auto& step) { return step.name == finding.step; }))
      steps.push_back({finding.step, "", {}});
  return steps;
}

void write_top(Markup& page, const RunReport& report) {
  page.open("header", {{"class", "top"}});
  page.open("span").element("b", "Proofstand").text(" \u00b7 run " + std::to_string(report.run)).close();
  page.element("span", report.closed_at.empty() ? report.opened_at : report.closed_at).close();
}

/// With a capital at the front (unless an identifier stands there) and a full stop behind.
std::string as_sentence(std::string text) {
  const bool word = text.find_first_of("/_@") > text.find(' ');
  if (word && text.front() >= 'a' && text.front() <= 'z') text.front() = static_cast<char>(text.front() - 'a' + 'A');
  if (text.find_last_of(".!?") != text.size() - 1) text += '.';
  return text;
}

std::string_view verdict_word(const RunReport& report) { return report.reseat ? "re-seat" : to_text(report.verdict); }

void write_verdict(Markup& page, const RunReport& report) {
  const std::string style = "verdict " + std::string{verdict_class(report.verdict)};
  page.open("div", {{"class", style}, {"data-verdict", to_text(report.verdict)}});
  write_mark(page, report.verdict);
  page.open("div").element("h1", verdict_word(report));
  page.open("p", {{"class", "unit"}}).element("small", "unit").typed(report.serial).close().close().close();
  if (!report.reason.empty()) page.element("p", as_sentence(report.reason), {{"class", "reason"}});
  if (!report.barred.empty()) page.element("p", as_sentence(report.barred), {{"class", "reason barred"}});
}

void write_fact(Markup& page, std::string_view name, std::string_view value) {
  if (value.empty()) return;
  page.open("div").element("dt", name).open("dd").typed(value).close().close();
}

std::string attempt(const RunReport& report) {
  if (report.reseats == 0) return std::to_string(report.attempt);
  return std::to_string(report.attempt) + " (" + std::to_string(report.reseats) +
         (report.reseats == 1 ? " re-seat)" : " re-seats)");
}

void write_facts(Markup& page, const RunReport& report) {
  page.open("dl", {{"class", "facts"}});
  write_fact(page, "product", report.product);
  write_fact(page, "scenario", report.scenario);
  write_fact(page, "purpose", report.purpose);
  write_fact(page, "attempt of this unit", attempt(report));
  for (const auto& [what, text] : report.identity) write_fact(page, what, text);
  for (const auto& [what, text] : report.surroundings) write_fact(page, what + " temperature", text);
  write_fact(page, "bench", report.bench);
  write_fact(page, "the bench's own words", report.bench_identity);
  write_fact(page, "operator", report.operator_name);
  write_fact(page, "begun", report.opened_at);
  write_fact(page, "closed", report.closed_at);
  if (report.bench_seconds) write_fact(page, "time on the bench", figure(*report.bench_seconds, 1) + " s");
  write_fact(page, "characteristics judged", std::to_string(report.findings.size()));
  write_fact(page, "judged by", report.program_version);
  page.close();
}

std::string tightest(const RunReport& report, const std::string& step) {
  const Finding* found = nullptr;
  for (const auto& f : report.findings)
    if (f.step == step && margin_share(f) && (found == nullptr || *margin_share(f) < *margin_share(*found))) found = &f;
  return found == nullptr
             ? "\u2013"
             : figure(*found->margin, places_for(found->in)) + " " + found->in + ": " + spoken_place(*found);
}

void write_summary(Markup& page, const RunReport& report, const std::vector<ReportStep>& steps) {
  page.open("section").element("h2", "Step by step");
  page.open("div", {{"class", "scroll"}, {"tabindex", "0"}})
      .open("table", {{"class", "plain"}})
      .open("thead")
      .open("tr");
  page.element("th", "step", {{"scope", "col"}});
  for (const auto* name : {"judged", "pass", "undecided", "fail", "void"})
    page.element("th", name, {{"scope", "col"}, {"class", "n"}});
  page.element("th", "smallest margin for its band", {{"scope", "col"}}).close().close().open("tbody");
  for (const auto& step : steps) {
    Tally tally;
    for (const auto& finding : report.findings)
      if (finding.step == step.name) tally.add(finding.verdict);
    page.open("tr").element("th", spoken(step.name), {{"scope", "row"}});
    for (const std::size_t count : {tally.all(), tally.pass, tally.undecided, tally.fail, tally.void_})
      page.element("td", count == 0 ? "\u2013" : std::to_string(count), {{"class", "n"}});
    page.element("td", tally.all() == 0 ? "not carried out" : tightest(report, step.name)).close();
  }
  page.close().close().close().close();
}

void write_maps(Markup& page, const std::vector<PointMap>& maps, const std::string& step) {
  bool first = true;
  for (const auto& map : maps) {
    if (map.step != step) continue;
    if (std::exchange(first, false)) write_margin_legend(page);
    page.element("h3", spoken(map.channel));
    page.open("div", {{"class", map.speeds.size() > 8 ? "maps wide" : "maps"}});
    for (const auto& degrees : map.temperatures) write_margin_map(page, map, degrees);
    page.close();
    write_deviation_plots(page, map);
  }
}

void write_step(Markup& page, const RunReport& report, const std::vector<PointMap>& maps, const ReportStep& step) {
  std::vector<const Finding*> single, mapped;
  for (const auto& finding : report.findings)
    if (finding.step == step.name) (shown_in(maps, finding) ? mapped : single).push_back(&finding);
  page.open("section").element("h2", "Step: " + spoken(step.name));
  if (!step.what.empty()) page.element("p", step.what, {{"class", "lead"}});
  if (single.empty() && mapped.empty())
    page.element("p", "Not carried out: the run ended before.", {{"class", "lead"}});
  write_strips(page, step.strips, report.findings);
  write_maps(page, maps, step.name);
  if (!single.empty()) write_findings_table(page, single);
  if (!mapped.empty()) {
    page.open("details", {{"class", "on-screen"}});
    page.element("summary", "The " + std::to_string(mapped.size()) + " points of the maps, one by one");
    write_findings_table(page, mapped);
    page.close();
  }
  page.close();
}

void write_inputs(Markup& page, const RunReport& report) {
  page.open("section").element("h2", "Judged by these files");
  page.open("div", {{"class", "scroll"}, {"tabindex", "0"}})
      .open("table", {{"class", "plain"}})
      .open("thead")
      .open("tr");
  page.element("th", "file", {{"scope", "col"}})
      .element("th", "SHA-256 of its bytes", {{"scope", "col"}})
      .close()
      .close();
  page.open("tbody");
  for (const auto& input : report.inputs) {
    page.open("tr").open("th", {{"scope", "row"}}).typed(input.path).close();
    page.open("td").element("code", input.sha256).close().close();
  }
  page.close().close().close();
  if (!report.scenario_hash.empty())
    page.open("p", {{"class", "note"}})
        .text("Scenario with all it refers to: ")
        .element("code", report.scenario_hash)
        .close();
  page.close();
}

void write_remarks(Markup& page, const RunReport& report) {
  if (report.remarks.empty()) return;
  page.open("section").element("h2", "Remarks").open("ul", {{"class", "remarks"}});
  for (const auto& remark : report.remarks) page.element("li", remark);
  page.close().close();
}

void write_caution(Markup& page) {
  page.element("p",
               "For a low-voltage bench only. A pass is a statement about this unit on this bench, not about an engine "
               "or a road.",
               {{"class", "caution"}});
}

void write_foot(Markup& page, const RunReport& report) {
  page.open("footer", {{"class", "foot"}}).open("ul");
  for (const auto* caution :
       {"The stand is for low-voltage benches only: no mains, no ignition, no running engine.",
        "A pass is a statement about a unit on a bench. It says nothing about an engine, a vehicle or a road.",
        "Fitting, emissions and road use are for licensed practice and local law.",
        "Undecided means that a limit lies within the measurement's uncertainty. Void means that the rig, not the "
        "unit, was at "
        "fault and nothing was said of the unit. Re-seat means that the unit did not sit well in the fixture and is to "
        "be "
        "put in and run again. None of them is a pass."})
    page.element("li", caution);
  page.close();
  page.element("p",
               "Pass asks for the whole uncertainty (k = 2) inside the band, fail for the whole of it outside "
               "(guarded acceptance, JCGM 106:2012, 8.3.2).");
  page.open("p").text("Run " + std::to_string(report.run));
  if (!report.run_id.empty()) page.text(", ").element("code", report.run_id);
  if (!report.ledger_digest.empty()) page.text(", ledger ").element("code", report.ledger_digest);
  page.text(".").close().close();
}

std::string title(const RunReport& report) {
  return std::string{verdict_word(report)} + ": unit " + report.serial + ", run " + std::to_string(report.run);
}

}  // namespace

std::string to_html(const RunReport& report) {
  const auto steps = all_steps(report);
  const auto maps = point_maps(report.findings);
  Markup page;
  page.raw("<!DOCTYPE html>\n").open("html", {{"lang", "en"}}).open("head");
  page.empty("meta", {{"charset", "utf-8"}});
  page.empty("meta", {{"name", "viewport"}, {"content", "width=device-width, initial-scale=1"}});
  // Nothing may be fetched and nothing may run, whatever somebody wrote into a name.
  page.empty("meta",
             {{"http-equiv", "Content-Security-Policy"}, {"content", "default-src 'none'; style-src 'unsafe-inline'"}});
  page.element("title", title(report)).open("style").raw(run_report_style()).close().close();
  page.open("body").open("main");
  write_top(page, report);
  write_verdict(page, report);
  write_facts(page, report);
  write_caution(page);
  write_wrongs(page, report.findings);
  write_summary(page, report, steps);
  if (!report.strips_missing.empty()) page.element("p", as_sentence(report.strips_missing), {{"class", "note lack"}});
  for (const auto& step : steps) write_step(page, report, maps, step);
  write_remarks(page, report);
  write_inputs(page, report);
  page.close();
  write_foot(page, report);
  page.close().close();
  return page.take();
}

}  // namespace rig
