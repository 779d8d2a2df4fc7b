#include "rig/core/nearest_word.hpp"

#include <algorithm>
#include <array>

namespace rig {
namespace {

constexpr std::size_t kLongest = 64;  ///< no word of ours is longer; what is, was not mistyped

char lower(char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c - 'A' + 'a') : c; }

/// Optimal string alignment distance (Damerau-Levenshtein without a second edit of a swapped pair). A changed letter
/// costs 4, one that differs in case only 1. REQUIRES: both at most kLongest letters.
unsigned distance(std::string_view a, std::string_view b) {
  std::array<std::array<unsigned, kLongest + 1>, kLongest + 1> cost;
  for (std::size_t i = 0; i <= a.size(); ++i) cost[i][0] = static_cast<unsigned>(4 * i);
  for (std::size_t j = 0; j <= b.size(); ++j) cost[0][j] = static_cast<unsigned>(4 * j);
  for (std::size_t i = 1; i <= a.size(); ++i) {
    for (std::size_t j = 1; j <= b.size(); ++j) {
      const unsigned change = a[i - 1] == b[j - 1] ? 0 : lower(a[i - 1]) == lower(b[j - 1]) ? 1 : 4;
      cost[i][j] = std::min({cost[i - 1][j] + 4, cost[i][j - 1] + 4, cost[i - 1][j - 1] + change});
      const bool swapped = i > 1 && j > 1 && lower(a[i - 1]) == lower(b[j - 2]) && lower(a[i - 2]) == lower(b[j - 1]);
      if (swapped) cost[i][j] = std::min(cost[i][j], cost[i - 2][j - 2] + 4);
    }
  }
  return cost[a.size()][b.size()];
}

template <class Candidates>
std::optional<std::string> nearest(std::string_view word, const Candidates& candidates) {
  if (word.empty() || word.size() > kLongest) return std::nullopt;
  std::optional<std::string> best;
  unsigned least = 0;
  for (const std::string_view candidate : candidates) {
    if (candidate.empty() || candidate.size() > kLongest) continue;
    // A third of the letters may be wrong, but at least one; and a word must share something with what it stands for.
    const auto shorter = static_cast<unsigned>(std::min(word.size(), candidate.size()));
    const unsigned most = std::max(4u, 4 * (shorter / 3));
    const unsigned here = distance(word, candidate);
    if (here > most || here >= 4 * static_cast<unsigned>(std::max(word.size(), candidate.size()))) continue;
    if (!best || here < least) best = candidate, least = here;
  }
  return best;
}

}  // namespace

std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string_view> candidates) {
  return nearest(word, candidates);
}
std::optional<std::string> nearest_word(std::string_view word, std::span<const std::string> candidates) {
  return nearest(word, candidates);
}
std::optional<std::string> nearest_word(std::string_view word, std::initializer_list<std::string_view> candidates) {
  return nearest(word, candidates);
}

}  // namespace rig
