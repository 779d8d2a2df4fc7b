#pragma once

#include <span>
#include <string>
#include <utility>
#include <vector>

#include "rig/compile/plan.hpp"
#include "rig/store/records.hpp"

/// Notes of a run, which the store keeps as events: who the module says it is, how warm it was.
namespace rig {

/// "identity" for what the module says of itself, "surroundings" for the room's and the fixture's temperature,
/// "courses" for what the supplies' courses are modelled on.
std::string event_kind_of(const Note& note);

/// What was noted under an event kind: ("firmware", "4f1c09"), in order. What was noted twice with different words is
/// there twice.
std::vector<std::pair<std::string, std::string>> noted(std::span<const RunEvent> events, std::string_view event_kind);

/// "firmware 4f1c09, table 77ab12": which software the verdict is about; empty where that is not known.
std::string software_in_words(std::span<const RunEvent> events);

/// Everything that is no note, each in one line.
std::vector<std::string> other_events(std::span<const RunEvent> events);

}  // namespace rig
