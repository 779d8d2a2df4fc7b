#include "reports/strips.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include "reports/figures.hpp"
#include "reports/point_map.hpp"
#include "reports/strip_picture.hpp"
#include "reports/verdict_mark.hpp"

namespace rig {

namespace {

struct Shown {
  const Strip* strip;
  const Finding* finding;  ///< may be missing: the run ended before it was judged
};

/// "measured 17.0 ms (±0.8), allowed at most 50.0": as stored, so that picture and table cannot contradict each other.
std::string figures_of(const Finding& finding) {
  auto text = "measured " + with_unit(finding.value, finding.in);
  if (finding.uncertainty > 0) text += " (\u00b1" + figure(finding.uncertainty, places_for(finding.in)) + ")";
  return text + ", allowed " + allowed(finding);
}

/// The stored finding's word; where the stretch shown would have had another by itself, that too.
void write_caption(Markup& page, const Shown& shown) {
  const Strip& strip = *shown.strip;
  const Verdict verdict = shown.finding ? shown.finding->verdict : Verdict::void_;
  page.open("figcaption");
  page.open("span", {{"class", "word " + std::string{verdict_class(verdict)}}});
  write_small_mark(page, verdict);
  page.text(shown.finding ? to_text(verdict) : "not judged").close().text(" ").text(spoken(strip.title)).close();
  if (!shown.finding) return;
  page.element("p", figures_of(*shown.finding), {{"class", "timing"}});
  if (strip.verdict != verdict)
    page.element("p", "this stretch by itself: " + std::string{to_text(strip.verdict)}, {{"class", "why"}});
  if (verdict != Verdict::pass && !shown.finding->reason.empty())
    page.element("p", shown.finding->reason, {{"class", "why"}});
}

void write_group(Markup& page, const std::vector<Shown>& group, StripSize size) {
  page.open("div", {{"class", size == StripSize::large ? "strips" : "strips compact"}});
  for (const auto& shown : group) {
    page.open("figure", {{"class", "strip"}});
    write_caption(page, shown);
    write_strip_picture(page, *shown.strip, size);
    page.close();
  }
  page.close();
}

}  // namespace

void write_strips(Markup& page, std::span<const Strip> strips, std::span<const Finding> findings) {
  if (strips.empty()) return;
  std::vector<Shown> wrong, right;
  for (const auto& strip : strips) {
    const auto found = std::find_if(findings.begin(), findings.end(),
                                    [&](const auto& finding) { return finding.id == strip.finding; });
    const Shown shown{&strip, found == findings.end() ? nullptr : &*found};
    (shown.finding && shown.finding->verdict == Verdict::pass ? right : wrong).push_back(shown);
  }
  // Those that show by themselves what was found come before the rest of a finding over many stretches.
  std::stable_partition(wrong.begin(), wrong.end(), [](const auto& s) { return s.strip->verdict != Verdict::pass; });
  write_strip_legend(page);
  if (!wrong.empty()) write_group(page, wrong, StripSize::large);
  if (right.empty()) return;
  page.open("details", {{"class", "passed"}});
  page.element("summary", right.size() == 1 ? "1 that passed" : "The " + std::to_string(right.size()) + " that passed");
  write_group(page, right, StripSize::compact);
  page.close();
}

}  // namespace rig
