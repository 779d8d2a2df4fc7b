#pragma once

#include "rig/compile/yaml_reader_values.hpp"

namespace rig::yaml {

/// Reads one mapping key by key. Whatever was not asked for by the time the reader goes out of scope is complained
/// about as an unknown key: so the list of known keys is the reading code itself and cannot go stale.
class MapReader {
 public:
  /// `subject` is how complaints call it: "the battery", "step 3".
  MapReader(const Node& node, PlacedComplaints& complaints, std::string subject);
  ~MapReader();
  MapReader(const MapReader&) = delete;
  MapReader& operator=(const MapReader&) = delete;

  /// The key's value; when it is missing, a complaint that tells how to write it, and nothing.
  const Node* need(std::string_view key, std::string_view example);
  /// The key's value, or nothing.
  const Node* find(std::string_view key);
  /// Where the key stands, or the mapping itself where it does not.
  Place place(std::string_view key) const;
  Place place() const { return node_.place; }
  const std::string& subject() const { return subject_; }
  PlacedComplaints& complaints() { return complaints_; }

  /// A value that must be there.
  template <class T>
  bool need(std::string_view key, T& into, Allowed<T> allowed, std::string_view example) {
    const Node* node = need(key, example);
    return node && read(*node, into, allowed, complaints_);
  }
  /// A value that may be left out: then `into` stays as it is.
  template <class T>
  bool may(std::string_view key, T& into, Allowed<T> allowed) {
    const Node* node = find(key);
    return node && read(*node, into, allowed, complaints_);
  }
  template <class T>
  bool may(std::string_view key, std::optional<T>& into, Allowed<T> allowed) {
    T value{};
    if (!may(key, value, allowed)) return false;
    into = value;
    return true;
  }
  bool may(std::string_view key, bool& into);
  bool need_name(std::string_view key, std::string& into, std::string_view example);
  bool need_text(std::string_view key, std::string& into, std::string_view example);
  bool may_text(std::string_view key, std::string& into);
  template <class T>
  bool may_choice(std::string_view key, T& into, std::initializer_list<Choice<T>> choices) {
    const Node* node = find(key);
    return node && read_choice(*node, into, choices, key, complaints_);
  }
  template <class T>
  bool need_choice(std::string_view key, T& into, std::initializer_list<Choice<T>> choices, std::string_view example) {
    const Node* node = need(key, example);
    return node && read_choice(*node, into, choices, key, complaints_);
  }
  /// Complains at the key.
  void refuse(std::string_view key, std::string what, std::string remedy);
  /// A name that must be one of `names`: its number, or nothing with a complaint ("'x': no such table. Did you mean
  /// ...").
  std::optional<std::size_t> one_of(const Node& node, const std::vector<std::string>& names, std::string_view kind);

 private:
  const Entry* entry(std::string_view key) const;
  const Node& node_;
  PlacedComplaints& complaints_;
  std::string subject_;
  std::vector<std::string> asked_;
};

}  // namespace rig::yaml
