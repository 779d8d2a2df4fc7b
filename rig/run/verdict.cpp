#include "rig/run/verdict.hpp"

#include <algorithm>
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
  const std::vector<std::string> order{"pass_through/unpowered", "pass_through/battery_only", "pass_through/rails_only",
                                       "pass_through/bypassed",  "pass_through/sensor_",      "ceiling/",
                                       "sweep/response",         "sweep/manifold_pressure",   "sweep/charge_pressure"};
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

/// "sweep, manifold pressure at 3500 rpm, 180 kPa (412 times, worst here)".
std::string place_in_words(const Finding& finding, std::size_t count) {
  auto words = [](std::string text) {
    std::replace(text.begin(), text.end(), '_', ' ');
    for (auto slash = text.find('/'); slash != std::string::npos; slash = text.find('/')) text.replace(slash, 1, ", ");
    if (const auto to = text.find(", to, "); to != std::string::npos) text.replace(to, 6, " to ");  // of a response
    return text;
  };
  const auto id = characteristic_from_text(finding.id);
  if (!id) return finding.id;
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

std::string sentence(const Group& group) {
  const auto* worst = *std::max_element(group.findings.begin(), group.findings.end(),
                                        [](auto* a, auto* b) { return severity(*a) < severity(*b); });
  return fmt::format("{}: {}", place_in_words(*worst, group.findings.size()), worst->reason);
}

std::string reasons(std::span<const Finding> findings, Verdict verdict) {
  constexpr std::size_t kMost = 3;
  const auto groups = grouped(findings, verdict);
  std::string text;
  for (std::size_t i = 0; i < std::min(groups.size(), kMost); ++i) text += (i ? "; " : "") + sentence(groups[i]);
  if (groups.size() > kMost) text += fmt::format("; and {} more", groups.size() - kMost);
  return text;
}

}  // namespace

RunVerdict conclude_run(std::span<const Finding> findings, const RigHealth& health) {
  if (!health.fault.empty()) return {Verdict::void_, health.fault};
  if (!health.self_test_passed)
    return {Verdict::void_,
            "the bench failed its own test, so the unit was not judged: " + reasons(findings, Verdict::void_)};
  for (const auto verdict : {Verdict::fail, Verdict::void_, Verdict::undecided}) {
    const bool any =
        std::any_of(findings.begin(), findings.end(), [&](const Finding& f) { return f.verdict == verdict; });
    if (any) return {verdict, reasons(findings, verdict)};
  }
  if (findings.empty()) return {Verdict::void_, "nothing was measured"};
  return {Verdict::pass, {}};
}

}  // namespace rig
