#include "rig/compile/yaml_reader_values.hpp"

#include <algorithm>
#include <array>
#include <cmath>

#include "rig/core/nearest_word.hpp"
#include "rig/core/number_text.hpp"
#include "rig/core/quantity_text.hpp"

namespace rig::yaml {
namespace {

using Kind = Node::Kind;

std::string text_of(double value) { return shortest_text(value); }
std::string text_of(std::int64_t value) { return std::to_string(value); }
template <class Q>
std::string text_of(Q value) {
  return to_text(value);
}

template <class T>
bool inside(T value, Allowed<T> allowed, const Node& node, PlacedComplaints& complaints) {
  if (allowed.low <= value && value <= allowed.high) return true;
  complaints.add(node.place, fmt::format("{} is out of range", describe(node)),
                 fmt::format("{} to {} is allowed here", text_of(allowed.low), text_of(allowed.high)));
  return false;
}

/// A scalar without quotes, or a complaint that something else was expected.
bool is_bare(const Node& node, std::string_view expected, std::string_view example, PlacedComplaints& complaints) {
  if (node.kind == Kind::refused) return false;
  if (node.kind == Kind::scalar && !node.quoted) return true;
  const bool quoted = node.kind == Kind::scalar;
  complaints.add(node.place,
                 fmt::format("{} is expected, not {}{}", expected, describe(node), quoted ? " in quotes" : ""),
                 quoted ? "Take the quotes away" : fmt::format("Write it like `{}`", example));
  return false;
}

template <class Q>
bool read_quantity(const Node& node, Q& into, Allowed<Q> allowed, std::string_view expected, std::string_view example,
                   PlacedComplaints& complaints) {
  if (!is_bare(node, expected, example, complaints)) return false;
  const auto parsed = parse_quantity<Q>(node.text);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) {
    complaints.add(node.place, error->what, error->remedy);
    return false;
  }
  const Q value = std::get<Q>(parsed);
  if (!inside(value, allowed, node, complaints)) return false;
  return into = value, true;
}

bool is_digit(char c) { return c >= '0' && c <= '9'; }
bool is_small_letter(char c) { return c >= 'a' && c <= 'z'; }

/// What readers of YAML 1.1, 1.2 and JSON's kin take for something else than text.
bool looks_unlike_text(std::string_view text) {
  constexpr std::array words{"true", "false", "yes", "no", "on", "off", "null", "y", "n", "~"};
  std::string low{text};
  std::transform(low.begin(), low.end(), low.begin(),
                 [](char c) { return c >= 'A' && c <= 'Z' ? static_cast<char>(c + 32) : c; });
  if (std::find(words.begin(), words.end(), low) != words.end() || low == ".nan" || low.ends_with(".inf")) return true;
  return is_digit(text.front()) && std::all_of(text.begin(), text.end(), [](char c) {
           return is_digit(c) || std::string_view{"._-+:eExXoOabcdfABCDFTZ "}.find(c) != std::string_view::npos;
         });
}

}  // namespace

bool read(const Node& node, Volts& into, Allowed<Volts> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a voltage", "13.8 V", complaints);
}
bool read(const Node& node, Amperes& into, Allowed<Amperes> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a current", "60 mA", complaints);
}
bool read(const Node& node, Ohms& into, Allowed<Ohms> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a resistance", "2.2 kohm", complaints);
}
bool read(const Node& node, Kilopascals& into, Allowed<Kilopascals> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a pressure", "180 kPa", complaints);
}
bool read(const Node& node, Rpm& into, Allowed<Rpm> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a speed", "3500 rpm", complaints);
}
bool read(const Node& node, CrankDegrees& into, Allowed<CrankDegrees> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "an angle", "90 deg", complaints);
}
bool read(const Node& node, Kelvins& into, Allowed<Kelvins> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a temperature difference", "1.5 K", complaints);
}
bool read(const Node& node, Celsius& into, Allowed<Celsius> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a temperature", "60 degC", complaints);
}
bool read(const Node& node, Nanoseconds& into, Allowed<Nanoseconds> allowed, PlacedComplaints& complaints) {
  return read_quantity(node, into, allowed, "a time", "20 ms", complaints);
}

bool read(const Node& node, double& into, Allowed<double> allowed, PlacedComplaints& complaints) {
  if (!is_bare(node, "a number", "1.5", complaints)) return false;
  const auto parsed = parse_number(node.text);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) {
    complaints.add(node.place, error->what, error->remedy);
    return false;
  }
  const double value = std::get<double>(parsed);
  if (!inside(value, allowed, node, complaints)) return false;
  return into = value, true;
}

bool read(const Node& node, std::int64_t& into, Allowed<std::int64_t> allowed, PlacedComplaints& complaints) {
  double value = 0;
  // Every whole number that a file of ours may hold is exact in a double.
  if (!read(node, value, {-9e15, 9e15}, complaints)) return false;
  const bool plain = std::all_of(node.text.begin(), node.text.end(), [](char c) { return is_digit(c) || c == '-'; });
  if (!plain) {
    complaints.add(node.place, fmt::format("{} is not a whole number", describe(node)), "Write digits alone");
    return false;
  }
  const auto whole = static_cast<std::int64_t>(value);
  if (!inside(whole, allowed, node, complaints)) return false;
  return into = whole, true;
}

bool read(const Node& node, int& into, Allowed<int> allowed, PlacedComplaints& complaints) {
  std::int64_t value = 0;
  if (!read(node, value, Allowed<std::int64_t>{allowed.low, allowed.high}, complaints)) return false;
  return into = static_cast<int>(value), true;
}

bool read(const Node& node, bool& into, PlacedComplaints& complaints) {
  return read_choice(node, into, {{"true", true}, {"false", false}}, "a switch", complaints);
}

bool read_share(const Node& node, double& into, Allowed<double> allowed, std::string_view of, SayOf say,
                PlacedComplaints& complaints) {
  const std::string example = say == SayOf::must ? fmt::format("1 % of {}", of) : "1 %";
  if (!is_bare(node, "a share", example, complaints)) return false;
  std::string_view text{node.text};
  const std::string ending = fmt::format(" of {}", of);
  const bool says_of = text.ends_with(ending);
  if (says_of) text.remove_suffix(ending.size());
  if (!text.ends_with('%') || (say == SayOf::must && !says_of)) {
    complaints.add(
        node.place,
        fmt::format("{} is not a share in %{}", describe(node), say == SayOf::must ? " that says of what" : ""),
        fmt::format("Write it like `{}`", example));
    return false;
  }
  text.remove_suffix(1);
  const auto parsed = parse_number(text);
  if (const auto* error = std::get_if<QuantityError>(&parsed)) {
    complaints.add(node.place, error->what, error->remedy);
    return false;
  }
  const double value = std::get<double>(parsed) / 100;
  if (value < allowed.low || value > allowed.high) {
    complaints.add(
        node.place, fmt::format("{} is out of range", describe(node)),
        fmt::format("{} % to {} % is allowed here", text_of(allowed.low * 100), text_of(allowed.high * 100)));
    return false;
  }
  return into = value, true;
}

bool read_text(const Node& node, std::string& into, PlacedComplaints& complaints) {
  constexpr std::size_t kMostCharacters = 200;
  if (node.kind == Kind::refused) return false;
  if (node.kind != Kind::scalar || node.text.empty()) {
    complaints.add(node.place, fmt::format("a text is expected, not {}", describe(node)), "Write it behind the colon");
    return false;
  }
  if (node.text.find('\n') != std::string::npos || node.text.size() > kMostCharacters) {
    complaints.add(node.place, fmt::format("the text is longer than one line of {} characters", kMostCharacters),
                   "Shorten it");
    return false;
  }
  if (!node.quoted && looks_unlike_text(node.text)) {
    complaints.add(node.place, fmt::format("{} could be taken for something else than text", describe(node)),
                   fmt::format("Put it in quotes: \"{}\"", node.text));
    return false;
  }
  return into = node.text, true;
}

bool read_name(const Node& node, std::string& into, PlacedComplaints& complaints) {
  std::string text;
  if (!read_text(node, text, complaints)) return false;
  const bool good = is_small_letter(text.front()) && text.size() <= 64 &&
                    std::all_of(text.begin(), text.end(),
                                [](char c) { return is_small_letter(c) || is_digit(c) || c == '_' || c == '-'; });
  if (!good) {
    complaints.add(node.place, fmt::format("{} is no name", describe(node)),
                   "A name begins with a small letter and goes on with small letters, digits, '_' or '-', 64 at most");
    return false;
  }
  return into = std::move(text), true;
}

std::optional<double> strict_number(std::string_view text) {
  const auto parsed = parse_number(text);
  const double* value = std::get_if<double>(&parsed);
  return value ? std::optional{*value} : std::nullopt;
}

std::string describe(const Node& node) {
  switch (node.kind) {
    case Kind::list:
      return "a list";
    case Kind::map:
      return "a mapping";
    case Kind::scalar:
      if (node.text.empty()) return "an empty text";
      if (node.text.size() > 60) return fmt::format("'{}...'", node.text.substr(0, 40));
      return fmt::format("'{}'", node.text);
    case Kind::empty:
    case Kind::refused:
      break;
  }
  return "nothing";
}

std::string suggest(std::string_view word, const std::vector<std::string>& known) {
  constexpr std::size_t kFew = 6, kMost = 12;
  if (known.empty()) return "There is none";
  const auto near = nearest_word(word, std::span<const std::string>{known});
  const std::string meant = near ? fmt::format("Did you mean '{}'?", *near) : "";
  if (known.size() <= (near ? kFew : kMost))
    return fmt::format("{}{}Known here: {}", meant, near ? " " : "", fmt::join(known, ", "));
  return near ? meant
              : fmt::format("Known here are {} words, from '{}' to '{}'", known.size(), known.front(), known.back());
}

const std::vector<Node>& items(const Node& node, std::size_t least, std::size_t most, std::string_view subject,
                               PlacedComplaints& complaints) {
  static const std::vector<Node> none;
  if (node.kind == Kind::refused) return none;
  if (node.kind != Kind::list) {
    complaints.add(node.place, fmt::format("{} must be a list, not {}", subject, describe(node)),
                   "Write it as [one, two], or one item a line behind a dash");
    return none;
  }
  if (node.items.size() >= least && node.items.size() <= most) return node.items;
  const std::string wanted = least == most ? fmt::format("{}", least) : fmt::format("{} to {}", least, most);
  complaints.add(node.place, fmt::format("{} has {} items; {} are wanted", subject, node.items.size(), wanted),
                 node.items.size() < least ? "Add what is missing" : "Take items away");
  return none;
}

}  // namespace rig::yaml
