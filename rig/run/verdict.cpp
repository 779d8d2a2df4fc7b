#include "rig/run/verdict.hpp"

#include <algorithm>
#include <cctype>
#include <cmath>
#include <map>
#include <vector>

#include <fmt/format.h>

#include "rig/core/characteristic.hpp"
#include "rig/core/number_text.hpp"

namespace rig {
namespace {

/// Findings of one verdict that are about the same thing, whatever the operating point.
struct Group {
  std::string subject;
  std::size_t first = 0;  ///< order of appearance
  std::vector<const Finding*> findings;
};

/// How far beyond its band a finding is, in widths of the band: comparable between kilopascals and volts.
double severity(const Finding& finding) {
  if (!finding.margin || !std::isfinite(*finding.margin)) return 0;
  const double width = finding.low && finding.high ? *finding.high - *finding.low
                                                   : std::abs(finding.high.value_or(finding.low.value_or(1)));
  return width > 0 ? -*finding.margin / width : -*finding.margin;
}

/// What people want to hear first: what makes the unit dangerous.
int urgency(const std::string& subject) {
  const std::vector<std::string> order{"pass_through/unpowered",
                                       "pass_through/battery_only",
                                       "pass_through/rails_only",
                                       "pass_through/bypassed",
                                       "pass_through/sensor_",
                                       "ceiling/",
                                       "identify/",
                                       "program/",
                                       "loading/",
                                       "sweep/response",
                                       "sweep/manifold_pressure",
                                       "sweep/charge_pressure"};
  const auto found =
      std::find_if(order.begin(), order.end(), [&](const std::string& start) { return subject.starts_with(start); });
  return static_cast<int>(found - order.begin());
}

std::vector<Group> grouped(std::span<const Finding> findings, Verdict verdict) {
  std::map<std::string, Group> by_subject;
  for (std::size_t i = 0; i < findings.size(); ++i) {
    const auto& finding = findings[i];
    if (finding.verdict != verdict) continue;
    const auto place = finding.id.find('@');
    auto& group = by_subject[finding.id.substr(0, place)];
    if (group.findings.empty()) group.subject = finding.id.substr(0, place), group.first = i;
    group.findings.push_back(&finding);
  }
  std::vector<Group> groups;
  groups.reserve(by_subject.size());
  for (auto& [subject, group] : by_subject) groups.push_back(std::move(group));
  std::sort(groups.begin(), groups.end(), [](const Group& a, const Group& b) {
    return std::pair{urgency(a.subject), a.first} < std::pair{urgency(b.subject), b.first};
  });
  return groups;
}

/// What names its place by a level: "self test, in, charge pressure@0.5V" becomes "... at 0.5 V".
std::string other_place_in_words(std::string text) {
  const auto at = text.find('@');
  if (at == std::string::npos) return text;
  text.replace(at, 1, " at ");
  for (auto i = at + 5; i < text.size(); ++i) {
    const bool after_digit = text[i - 1] >= '0' && text[i - 1] <= '9';
    if (after_digit && std::isalpha(static_cast<unsigned char>(text[i]))) text.insert(i++, 1, ' ');
  }
  return text;
}

/// "sweep, manifold pressure at 3500 rpm, 180 kPa (412 times, worst here)".
std::string place_in_words(const Finding& finding, std::size_t count) {
  auto words = [](std::string text) {
    std::replace(text.begin(), text.end(), '_', ' ');
    for (auto slash = text.find('/'); slash != std::string::npos; slash = text.find('/')) text.replace(slash, 1, ", ");
    if (const auto to = text.find(", to, "); to != std::string::npos) text.replace(to, 6, " to ");  // of a response
    return text;
  };
  const auto id = characteristic_from_text(finding.id);
  if (!id) return other_place_in_words(words(finding.id));
  std::string text = words(id->step) + ", " + words(id->subject);
  std::vector<std::string> at;
  if (id->speed) at.push_back(shortest_text(id->speed->value()) + " rpm");
  if (id->pressure) at.push_back(shortest_text(id->pressure->value()) + " kPa");
  if (id->temperature) at.push_back(shortest_text(id->temperature->value()) + " degC");
  if (!at.empty()) text += fmt::format(" at {}", fmt::join(at, ", "));
  if (id->down) text += " from above";
  if (count > 1) text += fmt::format(" ({} times, worst here)", count);
  return text;
}

/// Names of lines as people say them. What stands in quotes is the name in a file and stays.
std::string names_in_words(std::string text) {
  const auto part_of_a_name = [](char c) { return (c >= 'a' && c <= 'z') || (c >= '0' && c <= '9'); };
  bool quoted = false;
  for (std::size_t i = 1; i + 1 < text.size(); ++i) {
    // An apostrophe within a word ("bench's") opens nothing.
    if (text[i - 1] == '\'' && (i < 2 || quoted || !part_of_a_name(text[i - 2]))) quoted = !quoted;
    if (text[i] == '_' && !quoted && part_of_a_name(text[i - 1]) && part_of_a_name(text[i + 1])) text[i] = ' ';
  }
  return text;
}

/// A reason as it is said for the run: one semicolon stands between reasons, none within; what to do about a re-seat is
/// said once, by the headline.
std::string said_of(const Finding& finding) {
  constexpr std::string_view kAdvice = "re-seat the connector and test again: ";
  std::string text = names_in_words(finding.reason);
  if (text.starts_with(kAdvice)) text.erase(0, kAdvice.size());
  for (auto at = text.find("; "); at != std::string::npos; at = text.find("; ", at)) text.replace(at, 2, ", ");
  return text;
}

std::string sentence(const Group& group) {
  const auto* worst = *std::max_element(group.findings.begin(), group.findings.end(),
                                        [](auto* a, auto* b) { return severity(*a) < severity(*b); });
  return fmt::format("{}: {}", place_in_words(*worst, group.findings.size()), said_of(*worst));
}

/// The headline is about the first group: what is wrong, then what to do. The other groups follow.
std::string reasons(std::span<const Finding> findings, Verdict verdict, std::string_view what_to_do,
                    std::string_view before = {}) {
  constexpr std::size_t kMost = 3;
  const auto groups = grouped(findings, verdict);
  std::string text{before};
  for (std::size_t i = 0; i < std::min(groups.size(), kMost); ++i) {
    text += (i ? "; " : "") + sentence(groups[i]);
    if (i == 0) text.append(text.ends_with('.') ? " " : ". ").append(what_to_do);
  }
  if (groups.size() > kMost) text += fmt::format("; and {} more", groups.size() - kMost);
  return text;
}

RunVerdict disturbed(std::span<const Finding> findings, const std::string& what) {
  std::string reason =
      fmt::format("unit disturbs the bench: {}, and the bench is well once the unit is cut off. Set the unit aside",
                  names_in_words(what));
  std::vector<Finding> others;
  for (const auto& finding : findings)
    if (!finding.id.starts_with("disturbance/")) others.push_back(finding);
  for (const auto& group : grouped(others, Verdict::fail)) reason += "; " + sentence(group);
  return {Verdict::fail, reason};
}

std::string_view what_to_do(Verdict verdict) {
  switch (verdict) {
    case Verdict::fail:
      return "Set the unit aside";
    case Verdict::undecided:
      return "Run the unit again";
    case Verdict::void_:
      return "Mend that, then run the unit again";
    case Verdict::pass:
      break;
  }
  return "";
}

}  // namespace

RunVerdict conclude_run(std::span<const Finding> findings, const RigHealth& health) {
  if (!health.fault.empty()) return {Verdict::void_, health.fault};
  if (!health.self_test_passed)
    return {Verdict::void_, reasons(findings, Verdict::void_, "Mend the bench, then run the unit again",
                                    "the bench failed its own test, so the unit was not judged: ")};
  if (health.reseat)
    return {Verdict::void_, reasons(findings, Verdict::void_,
                                    "Take it out, look at the pins on both sides, re-seat the connector and test again",
                                    "the unit does not sit well in the fixture: ")};
  if (!health.disturbance.empty()) return disturbed(findings, health.disturbance);
  for (const auto verdict : {Verdict::fail, Verdict::void_, Verdict::undecided}) {
    const bool any =
        std::any_of(findings.begin(), findings.end(), [&](const Finding& f) { return f.verdict == verdict; });
    if (any) return {verdict, reasons(findings, verdict, what_to_do(verdict))};
  }
  if (findings.empty()) return {Verdict::void_, "nothing was measured. Look at the scenario's steps"};
  return {Verdict::pass, {}};
}

}  // namespace rig
