#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string>

#include "rig/core/product.hpp"

/// Reading what a module answers on its service port. Replies may be anything at all: reading them is bounded in length
/// and in time, and never throws.
namespace rig {

constexpr std::size_t kLongestReply = 1024;  ///< bytes that are looked at, the last ones
constexpr std::size_t kLongestAnswer = 128;  ///< bytes of an answer

/// Why a text is no pattern that can be used (a regular expression of the ECMAScript kind with one group, the answer),
/// in words, or nothing.
std::optional<std::string> pattern_problem(const std::string& pattern);

/// What a pattern (ECMAScript) finds first in a text: its first group, or all of it where it has none. Nothing where it
/// finds nothing, is no pattern, needs too long, or finds more than kLongestAnswer.
std::optional<std::string> first_match(const std::string& pattern, const std::string& text);

/// The answer in what came back on the port: looked for in the last whole reply (up to the terminator, or as long as it
/// must be), since a question that was asked again leaves pieces before it.
std::optional<std::string> answer_in(std::span<const std::uint8_t> received, const ServiceQuestion& question);

/// For people: everything that is not plain ASCII as \xNN.
std::string printable(const std::string& bytes);

}  // namespace rig
