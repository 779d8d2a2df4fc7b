#include <fmt/format.h>
#include <yaml-cpp/eventhandler.h>
#include <yaml-cpp/exceptions.h>
#include <yaml-cpp/parser.h>

#include <sstream>
#include <string_view>
#include <unordered_map>

#include "rig/compile/yaml_reader_tree.hpp"

namespace rig::yaml {
namespace {

/// Thrown out of the parser when reading on would be of no use.
struct Refusal {
  Place place;
  std::string what, remedy;
};

/// Turns the parser's byte columns into columns of characters, as editors count them.
class LineIndex {
 public:
  explicit LineIndex(std::string_view bytes) : bytes_{bytes}, starts_{0} {
    for (std::size_t i = 0; i < bytes.size(); ++i)
      if (bytes[i] == '\n') starts_.push_back(i + 1);
  }
  Place place(const YAML::Mark& mark) const {
    if (mark.line < 0) return {};
    const auto line = std::min(static_cast<std::size_t>(mark.line), starts_.size() - 1);
    const std::size_t from = starts_[line];
    const std::size_t to = std::min(from + static_cast<std::size_t>(std::max(mark.column, 0)), bytes_.size());
    int column = 1;
    for (std::size_t i = from; i < to; ++i) column += (static_cast<unsigned char>(bytes_[i]) & 0xC0) != 0x80;
    return {static_cast<int>(line) + 1, column};
  }

  /// The bytes from there on.
  std::string_view from(const YAML::Mark& mark) const {
    if (mark.line < 0 || static_cast<std::size_t>(mark.line) >= starts_.size()) return {};
    return bytes_.substr(
        std::min(starts_[static_cast<std::size_t>(mark.line)] + static_cast<std::size_t>(std::max(mark.column, 0)),
                 bytes_.size()));
  }

 private:
  std::string_view bytes_;
  std::vector<std::size_t> starts_;
};

/// Builds the tree from the parser's events. Working on events is what makes hostile files cheap: an alias is seen as
/// an alias and never followed, and depth and count are known before anything is built.
class TreeBuilder : public YAML::EventHandler {
 public:
  TreeBuilder(std::string_view bytes, PlacedComplaints& complaints) : lines_{bytes}, complaints_{complaints} {}
  std::optional<Node> take() { return std::move(root_); }

  void OnDocumentStart(const YAML::Mark& mark) override {
    if (++documents_ > 1) {
      throw Refusal{lines_.place(mark), "a second document starts here", "Keep one document in a file"};
    }
  }
  void OnDocumentEnd() override {}
  void OnNull(const YAML::Mark& mark, YAML::anchor_t) override { put(leaf(mark, Node::Kind::empty)); }
  void OnAlias(const YAML::Mark& mark, YAML::anchor_t) override {
    Node node = leaf(mark, Node::Kind::refused);
    complaints_.add(node.place, "an alias ('*') is not allowed", "Write the value out");
    put(std::move(node));
  }
  void OnScalar(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t, const std::string& value) override {
    Node node = leaf(mark, Node::Kind::scalar);
    node.text = value;
    node.quoted = tag == "!";
    if (node.quoted && !closes_its_quote(mark)) {
      complaints_.add(node.place, "the quote that starts here is never closed", "Close it with '");
      node.kind = Node::Kind::refused;
    }
    if (tag != "!" && tag != "?" && !tag.empty()) refuse_tag(node);
    // An escape ("\0") can bring in what the bytes of the file did not show.
    if (const auto bad = bad_byte(value)) {
      complaints_.add(node.place, "the text holds a " + bad->what, "Remove it");
      node.kind = Node::Kind::refused;
    }
    put(std::move(node));
  }
  void OnSequenceStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t,
                       YAML::EmitterStyle::value) override {
    open(mark, Node::Kind::list, tag);
  }
  void OnMapStart(const YAML::Mark& mark, const std::string& tag, YAML::anchor_t, YAML::EmitterStyle::value) override {
    open(mark, Node::Kind::map, tag);
  }
  void OnSequenceEnd() override { close(); }
  void OnMapEnd() override { close(); }
  void OnAnchor(const YAML::Mark& mark, const std::string& name) override {
    complaints_.add(lines_.place(mark), fmt::format("an anchor ('&{}') is not allowed", name), "Remove it");
  }

 private:
  /// A list or map that is still open. A map takes keys and values in turn.
  struct Frame {
    Node node;
    bool has_key = false;
    bool dropped = false;  ///< the key was refused: its value is read and forgotten
    std::string key;
    Place key_place;
    std::unordered_map<std::string, Place> keys;
  };

  Node leaf(const YAML::Mark& mark, Node::Kind kind) {
    Node node;
    node.kind = kind;
    node.place = lines_.place(mark);
    if (++nodes_ > kMostNodes) {
      throw Refusal{node.place, fmt::format("the file holds more than {} values", kMostNodes), "Split it"};
    }
    return node;
  }
  /// yaml-cpp 0.7 takes the end of the file for the end of a single-quoted text: a file cut short would pass.
  bool closes_its_quote(const YAML::Mark& mark) const {
    std::string_view rest = lines_.from(mark);
    if (!rest.starts_with('\'')) return true;  // in double quotes, or a block
    for (std::size_t i = 1; i < rest.size(); ++i) {
      if (rest[i] != '\'') continue;
      if (i + 1 == rest.size() || rest[i + 1] != '\'') return true;
      ++i;  // two quotes stand for one
    }
    return false;
  }
  void refuse_tag(Node& node) {
    complaints_.add(node.place, "a tag ('!') is not allowed",
                    "Remove it: the program knows what kind of value belongs here");
    node.kind = Node::Kind::refused;
  }
  void open(const YAML::Mark& mark, Node::Kind kind, const std::string& tag) {
    Frame frame;
    frame.node = leaf(mark, kind);
    if (frames_.size() >= static_cast<std::size_t>(kMostDepth)) {
      throw Refusal{frame.node.place, fmt::format("lists and mappings are nested more than {} deep", kMostDepth),
                    "No file of ours needs that: look for a stray bracket or dash"};
    }
    if (tag != "?" && !tag.empty()) complaints_.add(frame.node.place, "a tag ('!') is not allowed", "Remove it");
    frames_.push_back(std::move(frame));
  }
  void close() {
    Node node = std::move(frames_.back().node);
    frames_.pop_back();
    put(std::move(node));
  }
  void put(Node node) {
    if (frames_.empty()) {
      root_ = std::move(node);
      return;
    }
    Frame& frame = frames_.back();
    if (frame.node.kind == Node::Kind::list) {
      frame.node.items.push_back(std::move(node));
    } else if (!frame.has_key) {
      take_key(frame, std::move(node));
    } else {
      frame.has_key = false;
      // Where nothing stands, the parser names the place of what comes next.
      if (node.kind == Node::Kind::empty && node.place.line != frame.key_place.line) node.place = frame.key_place;
      if (!frame.dropped) frame.node.entries.push_back({std::move(frame.key), frame.key_place, std::move(node)});
    }
  }
  void take_key(Frame& frame, Node node) {
    frame.has_key = true;
    frame.dropped = true;
    frame.key_place = node.place;
    if (node.kind == Node::Kind::refused) return;
    if (node.kind != Node::Kind::scalar) {
      complaints_.add(node.place, "a key must be a word", "Write `word: value`");
      return;
    }
    if (node.text == "<<" && !node.quoted) {
      complaints_.add(node.place, "a merge key ('<<') is not allowed", "Write the values out");
      return;
    }
    const auto [seen, is_new] = frame.keys.try_emplace(node.text, node.place);
    if (!is_new) {
      complaints_.add(node.place,
                      fmt::format("'{}' is there twice: first in line {}, column {}", node.text, seen->second.line,
                                  seen->second.column),
                      "Keep one of the two");
      return;
    }
    frame.dropped = false;
    frame.key = std::move(node.text);
  }

  LineIndex lines_;
  PlacedComplaints& complaints_;
  std::vector<Frame> frames_;
  std::optional<Node> root_;
  std::size_t nodes_ = 0;
  int documents_ = 0;
};

/// The first line that is too long, counted from 1; 0 when there is none.
int too_long_line(std::string_view bytes) {
  int line = 1;
  std::size_t start = 0;
  for (std::size_t i = 0; i <= bytes.size(); ++i) {
    // A carriage return alone ends a line too, for some: counting it as none can only make lines longer.
    if (i < bytes.size() && bytes[i] != '\n') continue;
    if (i - start > kMostLine) return line;
    start = i + 1, ++line;
  }
  return 0;
}

std::string kilobytes(std::size_t bytes) { return fmt::format("{} kB", bytes / 1024); }

}  // namespace

std::optional<Node> parse(const std::string& bytes, PlacedComplaints& complaints) {
  if (bytes.size() > kMostBytes) {
    complaints.add_whole(
        fmt::format("the file is {} long; {} are allowed", kilobytes(bytes.size()), kilobytes(kMostBytes)),
        "Check that this is the file you meant");
    return std::nullopt;
  }
  if (const auto bad = bad_byte(bytes)) {
    complaints.add(bad->place, bad->what, "Save the file as plain UTF-8 text and retype this place");
    return std::nullopt;
  }
  if (const int line = too_long_line(bytes)) {
    complaints.add({line, 1}, fmt::format("the line is longer than {} characters", kMostLine),
                   "Break it into several lines");
    return std::nullopt;
  }
  TreeBuilder builder{bytes, complaints};
  try {
    std::istringstream stream{bytes};
    YAML::Parser parser{stream};
    if (!parser.HandleNextDocument(builder)) {
      complaints.add_whole("the file is empty", "Begin with its format: `product: 1`, `scenario: 1` or `bench: 1`");
      return std::nullopt;
    }
    parser.HandleNextDocument(builder);  // a second document is refused by the builder
  } catch (const Refusal& refusal) {
    complaints.add(refusal.place, refusal.what, refusal.remedy);
    return std::nullopt;
  } catch (const YAML::Exception& error) {
    complaints.add(LineIndex{bytes}.place(error.mark), "this is not YAML: " + error.msg,
                   "Look for a missing colon, quote or bracket, a tab, or a wrong indent here or just above");
    return std::nullopt;
  }
  return builder.take();
}

}  // namespace rig::yaml
