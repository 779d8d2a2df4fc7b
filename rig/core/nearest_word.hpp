#pragma once

#include <initializer_list>
#include <optional>
#include <span>
#include <string>
#include <string_view>

/// "Did you mean ...?": the known word that a mistyped one most likely stands for.
namespace rig {

/// The candidate nearest to `word` by letters left out, added, changed or swapped (case counts little), the first of
/// equals; nothing when none is near enough to be meant.
std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string_view> candidates);
std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string> candidates);
std::optional<std::string> nearest_word(std::string_view word, std::initializer_list<std::string_view> candidates);

}  // namespace rig
