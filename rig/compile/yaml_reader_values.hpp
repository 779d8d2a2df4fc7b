#pragma once

#include <fmt/format.h>

#include <cstdint>
#include <initializer_list>
#include <string>
#include <string_view>
#include <vector>

#include "rig/compile/yaml_reader_tree.hpp"
#include "rig/core/quantity.hpp"

/// Single values out of the tree. Each reader stores what it read and returns true, or complains at the node's place,
/// leaves the target as it was and returns false. Refused nodes were complained about before: false, in silence.
namespace rig::yaml {

/// Limits within which a value makes sense, both included.
template <class T>
struct Allowed {
  T low, high;
};

/// A quantity with its unit: `13.8 V`, `180 kPa`, `20 ms`.
bool read(const Node& node, Volts& into, Allowed<Volts> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Amperes& into, Allowed<Amperes> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Ohms& into, Allowed<Ohms> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Kilopascals& into, Allowed<Kilopascals> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Rpm& into, Allowed<Rpm> allowed, PlacedComplaints& complaints);
bool read(const Node& node, CrankDegrees& into, Allowed<CrankDegrees> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Kelvins& into, Allowed<Kelvins> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Celsius& into, Allowed<Celsius> allowed, PlacedComplaints& complaints);
bool read(const Node& node, Nanoseconds& into, Allowed<Nanoseconds> allowed, PlacedComplaints& complaints);
/// A bare number (a factor, a coefficient): digits, a decimal point, perhaps an exponent; nothing else.
bool read(const Node& node, double& into, Allowed<double> allowed, PlacedComplaints& complaints);
bool read(const Node& node, std::int64_t& into, Allowed<std::int64_t> allowed, PlacedComplaints& complaints);
bool read(const Node& node, int& into, Allowed<int> allowed, PlacedComplaints& complaints);
/// `true` or `false`.
bool read(const Node& node, bool& into, PlacedComplaints& complaints);

/// `10 %` as 0.1; `of` is what it is a share of (`% of expected`), which the file may or must say.
enum class SayOf { may, must };
bool read_share(const Node& node, double& into, Allowed<double> allowed, std::string_view of, SayOf say,
                PlacedComplaints& complaints);

/// Text for people, one line. A plain scalar that other YAML readers would take for a number, a switch or a date must
/// be quoted, so that all readers of the file see the same.
bool read_text(const Node& node, std::string& into, PlacedComplaints& complaints);
/// A word of small letters, digits, `_` and `-`, beginning with a letter: names in files are compared byte for byte.
bool read_name(const Node& node, std::string& into, PlacedComplaints& complaints);

/// The number at the front of `text` in the strict form of all our files; nothing if it is not exactly one.
std::optional<double> strict_number(std::string_view text);

/// What a node is, for a complaint: "a list", "a mapping", "nothing", "'abc'".
std::string describe(const Node& node);

/// "Did you mean 'x'?" when one of `known` is near to `word`, else the list of them where it is short.
std::string suggest(std::string_view word, const std::vector<std::string>& known);

/// One of a few fixed words. `key` is what the file calls the value.
template <class T>
struct Choice {
  std::string_view word;
  T value;
};
template <class T>
bool read_choice(const Node& node, T& into, std::initializer_list<Choice<T>> choices, std::string_view key,
                 PlacedComplaints& complaints) {
  if (node.kind == Node::Kind::refused) return false;
  std::vector<std::string> words;
  for (const Choice<T>& choice : choices) {
    if (node.kind == Node::Kind::scalar && node.text == choice.word) return into = choice.value, true;
    words.emplace_back(choice.word);
  }
  complaints.add(node.place, fmt::format("`{}` cannot be {}", key, describe(node)),
                 suggest(node.kind == Node::Kind::scalar ? node.text : "", words));
  return false;
}

/// The items of a list of `least` to `most` items; empty, with a complaint, when it is something else.
const std::vector<Node>& items(const Node& node, std::size_t least, std::size_t most, std::string_view subject,
                               PlacedComplaints& complaints);

}  // namespace rig::yaml
