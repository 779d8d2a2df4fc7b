#include <algorithm>

#include "rig/compile/load_parts.hpp"
#include "rig/compile/reply_pattern.hpp"

/// A module's service port: what it can be asked, byte for byte, and what counts in its answers.
namespace rig {

using namespace std::chrono_literals;
using yaml::Allowed;
using yaml::MapReader;
using yaml::Node;
using yaml::PlacedComplaints;

namespace {

constexpr std::size_t kMostBytes = 200;

std::optional<std::uint8_t> hex_digit(char c) {
  if (c >= '0' && c <= '9') return static_cast<std::uint8_t>(c - '0');
  if (c >= 'a' && c <= 'f') return static_cast<std::uint8_t>(c - 'a' + 10);
  if (c >= 'A' && c <= 'F') return static_cast<std::uint8_t>(c - 'A' + 10);
  return std::nullopt;
}

/// Two digits at `at`.
std::optional<std::uint8_t> hex_pair(std::string_view text, std::size_t at) {
  if (at + 2 > text.size()) return std::nullopt;
  const auto high = hex_digit(text[at]), low = hex_digit(text[at + 1]);
  if (!high || !low) return std::nullopt;
  return static_cast<std::uint8_t>(*high * 16 + *low);
}

/// Text with escapes: \r \n \t \\ and \x with two hexadecimal digits.
std::optional<std::vector<std::uint8_t>> bytes_of_text(std::string_view text) {
  std::vector<std::uint8_t> bytes;
  for (std::size_t i = 0; i < text.size(); ++i) {
    if (text[i] != '\\') {
      bytes.push_back(static_cast<std::uint8_t>(text[i]));
      continue;
    }
    if (++i == text.size()) return std::nullopt;
    if (text[i] == 'r') {
      bytes.push_back('\r');
    } else if (text[i] == 'n') {
      bytes.push_back('\n');
    } else if (text[i] == 't') {
      bytes.push_back('\t');
    } else if (text[i] == '\\') {
      bytes.push_back('\\');
    } else if (const auto byte = text[i] == 'x' ? hex_pair(text, i + 1) : std::nullopt) {
      bytes.push_back(*byte);
      i += 2;
    } else {
      return std::nullopt;
    }
  }
  return bytes;
}

/// `02 49 44 03`
std::optional<std::vector<std::uint8_t>> bytes_of_pairs(std::string_view text) {
  std::vector<std::uint8_t> bytes;
  for (std::size_t i = 0; i < text.size(); i += 2) {
    if (text[i] == ' ' && i > 0) ++i;
    const auto byte = hex_pair(text, i);
    if (!byte) return std::nullopt;
    bytes.push_back(*byte);
  }
  return bytes;
}

/// What a scalar stands for. Other readers of YAML must see the same text: what looks like a number is quoted.
std::optional<std::vector<std::uint8_t>> bytes_of(const Node& node, bool pairs, PlacedComplaints& complaints) {
  std::string text = node.kind == Node::Kind::scalar ? node.text : "";
  if (node.kind == Node::Kind::scalar && !node.quoted && !yaml::read_text(node, text, complaints)) return std::nullopt;
  auto bytes = pairs ? bytes_of_pairs(text) : bytes_of_text(text);
  if (!bytes || bytes->empty()) {
    complaints.add(
        node.place, fmt::format("{} does not stand for bytes", yaml::describe(node)),
        pairs ? "Write pairs of hexadecimal digits in quotes: \"02 49 44\""
              : "Write a text, with \\r, \\n, \\t, \\x0D and \\\\ for what cannot be seen, or {hex: \"02 49 44\"}");
    return std::nullopt;
  }
  if (bytes->size() > kMostBytes) {
    complaints.add(node.place, fmt::format("{} bytes are too many", bytes->size()),
                   fmt::format("{} are allowed here", kMostBytes));
    return std::nullopt;
  }
  return bytes;
}

/// Bytes: a text with escapes, or `{hex: "02 49 44 03"}`.
bool read_bytes(const Node& node, std::vector<std::uint8_t>& into, PlacedComplaints& complaints) {
  if (node.kind == Node::Kind::refused) return false;
  std::optional<std::vector<std::uint8_t>> bytes;
  if (node.kind == Node::Kind::map) {
    MapReader map{node, complaints, "the bytes"};
    const Node* pairs = map.need("hex", "\"02 49 44\"");
    if (!pairs || pairs->kind == Node::Kind::refused) return false;
    bytes = bytes_of(*pairs, true, complaints);
  } else {
    bytes = bytes_of(node, false, complaints);
  }
  if (!bytes) return false;
  return into = std::move(*bytes), true;
}

/// A regular expression of the ECMAScript kind with one group: the answer.
bool read_pattern(const Node& node, std::string& into, PlacedComplaints& complaints) {
  const auto wrong = [&](std::string what) {
    complaints.add(node.place, std::move(what),
                   "Write a regular expression (ECMAScript) with the answer in brackets: \"serial ([A-Z0-9]+)\"");
    return false;
  };
  std::string text;
  if (!yaml::read_text(node, text, complaints)) return false;
  if (const auto problem = pattern_problem(text)) return wrong(*problem);
  return into = std::move(text), true;
}

void read_end(MapReader& map, ServiceQuestion& question) {
  const Node* until = map.find("until");
  const Node* length = map.find("length");
  if (until) read_bytes(*until, question.until, map.complaints());
  int bytes = 0;
  if (length && yaml::read(*length, bytes, Allowed<int>{1, 4096}, map.complaints()))
    question.length = static_cast<std::uint32_t>(bytes);
  if (!until == !length)
    map.complaints().add(map.place(), fmt::format("{} does not say, once, where its answer ends", map.subject()),
                         "Say `until: \"\\r\\n\"` or `length: 8`");
}

ServiceQuestion read_question(const Node& node, std::size_t number, PlacedComplaints& complaints) {
  ServiceQuestion question;
  MapReader map{node, complaints, fmt::format("question {}", number + 1)};
  map.need_name("name", question.name, "serial");
  if (const Node* send = map.need("send", "\"serial?\\r\"")) read_bytes(*send, question.send, complaints);
  read_end(map, question);
  if (const Node* pattern = map.need("pattern", "\"serial ([A-Z0-9]+)\""))
    read_pattern(*pattern, question.pattern, complaints);
  map.may_choice("is", question.is,
                 {{"kept", AnswerIs::kept}, {"release", AnswerIs::release}, {"unit_serial", AnswerIs::unit_serial}});
  if (question.is == AnswerIs::release) {
    map.need_text("expect", question.expect, "\"2.4.1\"");
  } else if (map.find("expect")) {
    map.refuse("expect", "'expect' has no meaning here", "Write `is: release` beside it, or take it away");
  }
  return question;
}

}  // namespace

ServicePort read_service_port(const Node& node, PlacedComplaints& complaints) {
  ServicePort port;
  MapReader map{node, complaints, "the service port"};
  std::int64_t baud = port.baud;
  if (map.may("baud", baud, Allowed<std::int64_t>{1200, 1'000'000})) port.baud = static_cast<std::uint32_t>(baud);
  map.may("time_out", port.time_out, Allowed<Nanoseconds>{1ms, 10s});
  map.may("retries", port.retries, Allowed<int>{0, 10});
  const Node* list = map.need("questions", "[{name: serial, send: ..., until: ..., pattern: ...}]");
  if (!list) return port;
  for (const Node& item : yaml::items(*list, 1, 32, "the questions", complaints)) {
    ServiceQuestion question = read_question(item, port.questions.size(), complaints);
    const bool there = std::any_of(port.questions.begin(), port.questions.end(), [&](const ServiceQuestion& other) {
      return !question.name.empty() && other.name == question.name;
    });
    if (there)
      complaints.add(item.place, fmt::format("a question '{}' is there twice", question.name), "Give it another name");
    port.questions.push_back(std::move(question));
  }
  if (const Node* hang = map.find("hang")) read_bytes(*hang, port.hang, complaints);
  return port;
}

}  // namespace rig
