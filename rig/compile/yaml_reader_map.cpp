#include "rig/compile/yaml_reader_map.hpp"

#include <algorithm>

namespace rig::yaml {

MapReader::MapReader(const Node& node, PlacedComplaints& complaints, std::string subject)
    : node_{node}, complaints_{complaints}, subject_{std::move(subject)} {
  if (node.kind != Node::Kind::map && node.kind != Node::Kind::refused) {
    complaints_.add(node.place,
                    fmt::format("{} must be a mapping (`key: value` lines), not {}", subject_, describe(node)),
                    "Indent its keys below it");
  }
}

MapReader::~MapReader() {
  if (node_.kind != Node::Kind::map) return;
  for (const Entry& one : node_.entries) {
    if (std::find(asked_.begin(), asked_.end(), one.key) == asked_.end()) {
      complaints_.add(one.place, fmt::format("'{}': no such key in {}", one.key, subject_), suggest(one.key, asked_));
    }
  }
}

const Entry* MapReader::entry(std::string_view key) const {
  for (const Entry& one : node_.entries)
    if (one.key == key) return &one;
  return nullptr;
}

const Node* MapReader::find(std::string_view key) {
  if (std::find(asked_.begin(), asked_.end(), key) == asked_.end()) asked_.emplace_back(key);
  const Entry* found = entry(key);
  return found ? &found->value : nullptr;
}

const Node* MapReader::need(std::string_view key, std::string_view example) {
  const Node* found = find(key);
  if (!found && node_.kind == Node::Kind::map) {
    complaints_.add(node_.place, fmt::format("'{}' is missing in {}", key, subject_),
                    fmt::format("Add `{}: {}`", key, example));
  }
  return found;
}

Place MapReader::place(std::string_view key) const {
  const Entry* found = entry(key);
  return found ? found->place : node_.place;
}

bool MapReader::may(std::string_view key, bool& into) {
  const Node* node = find(key);
  return node && read(*node, into, complaints_);
}

bool MapReader::need_name(std::string_view key, std::string& into, std::string_view example) {
  const Node* node = need(key, example);
  return node && read_name(*node, into, complaints_);
}

bool MapReader::need_text(std::string_view key, std::string& into, std::string_view example) {
  const Node* node = need(key, example);
  return node && read_text(*node, into, complaints_);
}

bool MapReader::may_text(std::string_view key, std::string& into) {
  const Node* node = find(key);
  return node && read_text(*node, into, complaints_);
}

void MapReader::refuse(std::string_view key, std::string what, std::string remedy) {
  complaints_.add(place(key), std::move(what), std::move(remedy));
}

std::optional<std::size_t> MapReader::one_of(const Node& node, const std::vector<std::string>& names,
                                             std::string_view kind) {
  std::string name;
  if (!read_name(node, name, complaints_)) return std::nullopt;
  const auto found = std::find(names.begin(), names.end(), name);
  if (found != names.end()) return static_cast<std::size_t>(found - names.begin());
  complaints_.add(node.place, fmt::format("'{}': no such {}", name, kind), suggest(name, names));
  return std::nullopt;
}

}  // namespace rig::yaml
