#include "rig/compile/reply_pattern.hpp"

#include <algorithm>

#include <fmt/format.h>
#include <boost/regex.hpp>

namespace rig {
namespace {

constexpr std::size_t kLongestPattern = 256;

/// The last complete reply; nothing when none is.
std::optional<std::string> last_reply(const std::string& received, const ServiceQuestion& question) {
  if (question.until.empty()) {
    if (question.length == 0 || received.size() < question.length) return std::nullopt;
    return received.substr(received.size() - question.length);
  }
  const std::string until{question.until.begin(), question.until.end()};
  const auto end = received.rfind(until);
  if (end == std::string::npos) return std::nullopt;
  const auto before = end == 0 ? std::string::npos : received.rfind(until, end - 1);
  const auto start = before == std::string::npos ? 0 : before + until.size();
  return received.substr(std::min(start, end), end - std::min(start, end));
}

}  // namespace

std::optional<std::string> pattern_problem(const std::string& pattern) {
  if (pattern.empty()) return "this pattern is empty";
  if (pattern.size() > kLongestPattern) return fmt::format("a pattern of {} characters is too long", pattern.size());
  try {
    const boost::regex expression{pattern, boost::regex::ECMAScript};
    if (expression.mark_count() == 1) return std::nullopt;
    return fmt::format("this pattern has {} groups; one is needed", expression.mark_count());
  } catch (const std::exception&) {
    return fmt::format("'{}' is no regular expression", pattern);
  }
}

std::optional<std::string> first_match(const std::string& pattern, const std::string& text) {
  if (pattern.empty() || pattern.size() > kLongestPattern || text.size() > kLongestReply) return std::nullopt;
  try {
    // This engine keeps its stack off the program's, and gives up (throws) once it has tried too many ways.
    const boost::regex expression{pattern, boost::regex::ECMAScript};
    boost::smatch found;
    if (!boost::regex_search(text, found, expression)) return std::nullopt;
    const auto& group = found.size() > 1 ? found[1] : found[0];
    if (!group.matched || group.length() > static_cast<std::ptrdiff_t>(kLongestAnswer)) return std::nullopt;
    return group.str();
  } catch (const std::exception&) {
    return std::nullopt;
  }
}

std::optional<std::string> answer_in(std::span<const std::uint8_t> received, const ServiceQuestion& question) {
  const auto looked_at = received.last(std::min(received.size(), kLongestReply));
  const auto reply = last_reply({looked_at.begin(), looked_at.end()}, question);
  return reply ? first_match(question.pattern, *reply) : std::nullopt;
}

std::string printable(const std::string& bytes) {
  std::string text;
  for (const char c : bytes) {
    if (c >= ' ' && c <= '~')
      text += c;
    else
      text += fmt::format("\\x{:02x}", static_cast<unsigned char>(c));
  }
  return text;
}

}  // namespace rig
