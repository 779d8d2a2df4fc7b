#include "rig/core/fault.hpp"

#include <utility>

namespace rig {
namespace {

constexpr std::pair<FaultKind, std::string_view> kKinds[]{
    {FaultKind::open, "open"},
    {FaultKind::short_to_ground, "short_to_ground"},
    {FaultKind::short_to_reference, "short_to_reference"},
    {FaultKind::short_to_battery, "short_to_battery"},
    {FaultKind::joined, "joined"},
    {FaultKind::worn, "worn"},
    {FaultKind::intermittent, "intermittent"},
    {FaultKind::out_of_range, "out_of_range"},
    {FaultKind::frozen, "frozen"},
    {FaultKind::jump, "jump"},
    {FaultKind::lost_edges, "lost_edges"},
    {FaultKind::doubled_edges, "doubled_edges"},
    {FaultKind::over_speed, "over_speed"},
    {FaultKind::hang, "hang"},
    {FaultKind::disagree, "disagree"},
};

}  // namespace

std::string_view to_text(FaultKind kind) {
  for (const auto& [known, text] : kKinds)
    if (known == kind) return text;
  return {};
}

std::optional<FaultKind> fault_kind_from_text(std::string_view text) {
  for (const auto& [known, word] : kKinds)
    if (word == text) return known;
  return std::nullopt;
}

}  // namespace rig
