#include "reports/findings_table.hpp"

#include <algorithm>
#include <cmath>
#include <string>

#include "reports/figures.hpp"
#include "reports/verdict_mark.hpp"

namespace rig {

namespace {

std::string number_or(const std::optional<double>& value, std::string_view unit, std::string_view otherwise) {
  return value ? figure(*value, places_for(unit)) : std::string{otherwise};
}

void write_head(Markup& page) {
  page.open("thead").open("tr").element("th", "characteristic", {{"scope", "col"}});
  for (const auto* name : {"measured", "expected", "allowed", "\u00b1 (k = 2)", "margin"})
    page.element("th", name, {{"scope", "col"}, {"class", "n"}});
  page.element("th", "in", {{"scope", "col"}}).element("th", "in the band", {{"scope", "col"}});
  page.element("th", "verdict", {{"scope", "col"}}).close().close();
}

void write_row(Markup& page, const Finding& f) {
  const int places = places_for(f.in);
  if (f.reason.empty())
    page.open("tr");
  else
    page.open("tr", {{"class", "more"}});
  page.open("th", {{"scope", "row"}}).element("code", f.id).close();
  page.element("td", figure(f.value, places), {{"class", "n"}});
  page.element("td", number_or(f.expected, f.in, "\u2013"), {{"class", "n"}});
  page.element("td", allowed(f), {{"class", "n"}});
  page.element("td", figure(f.uncertainty, places), {{"class", "n"}});
  page.element("td", number_or(f.margin, f.in, "\u2013"), {{"class", "n"}});
  page.element("td", f.in);
  page.open("td");
  write_in_band(page, f);
  page.close();
  const std::string style = "v " + std::string{verdict_class(f.verdict)};
  page.open("td", {{"class", style}});
  write_small_mark(page, f.verdict);
  page.text(to_text(f.verdict)).close().close();
  if (!f.reason.empty()) page.open("tr").element("td", f.reason, {{"class", "why"}, {"colspan", "9"}}).close();
}

}  // namespace

void write_in_band(Markup& page, const Finding& f) {
  if (!std::isfinite(f.value) || (!f.low && !f.high)) return;
  // The band lies from 16 to 80; a missing side goes on to the end of the bar.
  const double low = f.low ? *f.low : std::min(0.0, *f.high),
               high = f.high ? *f.high : std::max(2 * *f.low, *f.low + 1);
  if (!(high > low)) return;
  const double at = 16 + (f.value - low) / (high - low) * 64;
  page.open("svg", {{"class", "inband"}, {"viewBox", "0 0 96 14"}, {"aria-hidden", "true"}});
  page.empty("rect", {{"x", "16"}, {"y", "4"}, {"width", "64"}, {"height", "6"}});
  if (f.low) page.empty("line", {{"x1", "16"}, {"x2", "16"}, {"y1", "1"}, {"y2", "13"}});
  if (f.high) page.empty("line", {{"x1", "80"}, {"x2", "80"}, {"y1", "1"}, {"y2", "13"}});
  if (at < 4)
    page.empty("path", {{"class", "past"}, {"d", "M8 3L3 7L8 11"}});
  else if (at > 92)
    page.empty("path", {{"class", "past"}, {"d", "M88 3L93 7L88 11"}});
  else
    page.empty("circle", {{"class", "at"}, {"cx", coordinate(at)}, {"cy", "7"}, {"r", "3.4"}});
  page.close();
}

void write_findings_table(Markup& page, std::span<const Finding* const> findings) {
  page.open("div", {{"class", "scroll"}, {"tabindex", "0"}}).open("table", {{"class", "plain"}});
  write_head(page);
  page.open("tbody");
  for (const Finding* finding : findings) write_row(page, *finding);
  page.close().close().close();
}

}  // namespace rig
