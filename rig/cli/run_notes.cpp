#include "rig/cli/run_notes.hpp"

namespace rig {

namespace {

constexpr std::string_view kIdentity = "identity", kSurroundings = "surroundings", kCourses = "courses";

}  // namespace

std::string event_kind_of(const Note& note) {
  if (note.kind.starts_with("course ")) return std::string{kCourses};
  return std::string{note.kind == "ambient" || note.kind == "fixture" ? kSurroundings : kIdentity};
}

std::vector<std::pair<std::string, std::string>> noted(std::span<const RunEvent> events, std::string_view event_kind) {
  std::vector<std::pair<std::string, std::string>> all;
  for (const auto& event : events) {
    const auto colon = event.text.find(": ");
    if (event.kind == event_kind && colon != std::string::npos)
      all.emplace_back(event.text.substr(0, colon), event.text.substr(colon + 2));
  }
  return all;
}

std::string software_in_words(std::span<const RunEvent> events) {
  std::string words;
  for (const char* kind : {"firmware", "table"})
    for (const auto& [what, text] : noted(events, kIdentity))
      if (what == kind) words += (words.empty() ? "" : ", ") + what + " " + text;
  return words;
}

std::vector<std::string> other_events(std::span<const RunEvent> events) {
  std::vector<std::string> lines;
  for (const auto& event : events) {
    if (event.kind == kIdentity || event.kind == kSurroundings || event.kind == kCourses) continue;
    const auto end = event.text.find('\n');
    auto line = event.kind + ": " + event.text.substr(0, end);
    if (!event.who.empty()) line += " (" + event.who + ")";
    if (end != std::string::npos) line += " [what it printed is kept with the run: show --json]";
    lines.push_back(std::move(line));
  }
  return lines;
}

}  // namespace rig
