#include "drivers/emulated/named_value.hpp"

#include <algorithm>
#include <charconv>
#include <cmath>
#include <vector>

#include "rig/core/nearest_word.hpp"

namespace drivers::emulated {
namespace {

std::optional<double> number(std::string_view text) {
  double value = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), value);
  if (error != std::errc{} || end != text.data() + text.size() || !std::isfinite(value)) return std::nullopt;
  return value;
}

std::string unknown(std::string_view name, std::string_view what, std::span<const NamedKind> kinds) {
  std::vector<std::string_view> names;
  for (const NamedKind& kind : kinds) names.push_back(kind.name);
  std::string text = "'" + std::string{name} + "': no such " + std::string{what} + ".";
  if (const auto near = rig::nearest_word(name, std::span<const std::string_view>{names})) {
    return text + " Did you mean '" + *near + "'?";
  }
  text += " Known:";
  for (std::string_view known : names) text += " " + std::string{known};
  return text;
}

}  // namespace

std::variant<NamedValue, std::string> parse_named_value(std::string_view text, std::string_view what,
                                                        std::span<const NamedKind> kinds) {
  const std::size_t name_end = std::min(text.find_first_of("=@"), text.size());
  const std::string_view name = text.substr(0, name_end);
  const auto kind = std::find_if(kinds.begin(), kinds.end(), [&](const NamedKind& k) { return k.name == name; });
  if (kind == kinds.end()) return unknown(name, what, kinds);

  std::string_view rest = text.substr(name_end), value, place;
  if (!rest.empty() && rest.front() == '@') {
    place = rest.substr(1);
  } else if (!rest.empty()) {
    rest.remove_prefix(1);
    const std::size_t at = rest.find('@'), colon = rest.find(':');
    if (at != rest.npos) {
      value = rest.substr(0, at), place = rest.substr(at + 1);
    } else if (colon != rest.npos) {
      place = rest.substr(0, colon), value = rest.substr(colon + 1);
    } else if (kind->place != Place::needed || number(rest)) {
      value = rest;
    } else {
      place = rest;
    }
  }

  const std::string quoted = "'" + std::string{text} + "': ";
  const bool wants_value = name_end < text.size() && text[name_end] == '=' && (place.empty() || !value.empty());
  const auto parsed = number(value);
  if (wants_value && !parsed) {
    return quoted + "'" + std::string{value} + "' is no number. Write it bare" +
           (kind->unit.empty() ? std::string{} : ", in " + std::string{kind->unit}) + ", as in '" + std::string{name} +
           "=0.5'.";
  }
  if (!place.empty() && kind->place == Place::none)
    return quoted + std::string{name} + " acts nowhere in particular. Leave the place out.";
  if (place.empty() && kind->place == Place::needed) {
    return quoted + std::string{name} + " must say where it acts. Write '" + std::string{name} + "=WHERE'.";
  }
  return NamedValue{std::string{name}, parsed.value_or(kind->usual), std::string{place}};
}

}  // namespace drivers::emulated
