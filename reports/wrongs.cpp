#include "reports/wrongs.hpp"

#include <algorithm>
#include <string>
#include <vector>

#include "reports/figures.hpp"
#include "reports/point_map.hpp"
#include "reports/verdict_mark.hpp"
#include "rig/core/characteristic.hpp"

namespace rig {

namespace {

constexpr std::size_t kPlacesShown = 3;

struct Group {
  std::string step, subject;
  std::size_t judged = 0;
  std::vector<const Finding*> wrong;
};

std::string subject_of(const Finding& finding) {
  const auto what = characteristic_from_text(finding.id);
  return what ? what->subject : finding.id;
}

/// True when `a` is to be named before `b`.
bool comes_first(const Finding& a, const Finding& b) {
  if (a.verdict != b.verdict) return &worse(a, b) == &a;
  const auto left = margin_share(a), right = margin_share(b);
  return left && right ? *left < *right : false;
}

std::vector<Group> groups_of(std::span<const Finding> findings) {
  std::vector<Group> groups;
  for (const auto& finding : findings) {
    const std::string subject = subject_of(finding);
    auto group = std::find_if(groups.begin(), groups.end(),
                              [&](const auto& g) { return g.step == finding.step && g.subject == subject; });
    if (group == groups.end()) group = groups.insert(group, Group{finding.step, subject, 0, {}});
    ++group->judged;
    if (finding.verdict != Verdict::pass) group->wrong.push_back(&finding);
  }
  std::erase_if(groups, [](const auto& group) { return group.wrong.empty(); });
  for (auto& group : groups)
    std::stable_sort(group.wrong.begin(), group.wrong.end(),
                     [](const auto* a, const auto* b) { return comes_first(*a, *b); });
  std::stable_sort(groups.begin(), groups.end(), [](const auto& a, const auto& b) {
    const Finding &left = *a.wrong.front(), &right = *b.wrong.front();
    return left.verdict != right.verdict && &worse(left, right) == &left;
  });
  return groups;
}

std::string in_words(const Finding& f) {
  std::string text = "measured " + with_unit(f.value, f.in) + ", allowed " + allowed(f);
  if (f.expected) text += ", expected " + figure(*f.expected, places_for(f.in));
  if (f.uncertainty > 0) text += ", uncertainty \u00b1" + figure(f.uncertainty, places_for(f.in));
  return text;
}

std::string count_of(const Group& group) {
  std::string text;
  const auto add = [&](Verdict verdict) {
    const auto count =
        std::count_if(group.wrong.begin(), group.wrong.end(), [&](const auto* f) { return f->verdict == verdict; });
    if (count > 0) text += (text.empty() ? "" : ", ") + std::to_string(count) + " " + std::string{to_text(verdict)};
  };
  for (const Verdict verdict : {Verdict::fail, Verdict::void_, Verdict::undecided}) add(verdict);
  return text + ", of " + std::to_string(group.judged) + " judged";
}

void write_group(Markup& page, const Group& group) {
  const Verdict verdict = group.wrong.front()->verdict;
  const std::string style = "word " + std::string{verdict_class(verdict)};
  page.open("li").open("span", {{"class", style}});
  write_small_mark(page, verdict);
  page.text(to_text(verdict)).close().open("div");
  page.open("p", {{"class", "what"}}).text(spoken_subject(group.step, group.subject));
  if (group.judged > 1) page.element("small", count_of(group));
  page.close();
  for (std::size_t i = 0; i < std::min(group.wrong.size(), kPlacesShown); ++i) {
    const Finding& finding = *group.wrong[i];
    const std::string conditions = spoken_conditions(finding);
    page.open("p");
    if (!conditions.empty()) page.element("b", conditions).text(": ");
    page.text(in_words(finding)).close();
  }
  if (group.wrong.size() > kPlacesShown)
    page.element("p",
                 "and " + std::to_string(group.wrong.size() - kPlacesShown) + " more, in the maps and tables below");
  if (!group.wrong.front()->reason.empty()) page.element("p", group.wrong.front()->reason);
  page.close().close();
}

}  // namespace

void write_wrongs(Markup& page, std::span<const Finding> findings) {
  const auto groups = groups_of(findings);
  if (groups.empty()) return;
  page.open("section").element("h2", "What did not pass").open("ul", {{"class", "wrongs"}});
  for (const auto& group : groups) write_group(page, group);
  page.close().close();
}

}  // namespace rig
