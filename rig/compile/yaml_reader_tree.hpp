#pragma once

#include <optional>
#include <string>
#include <vector>

#include "rig/core/complaint.hpp"

/// The strict reading of YAML: bytes in, a tree with the place of every node out. Only this room sees it.
namespace rig::yaml {

/// Where something stands in its file. Both count from 1; columns count characters, not bytes.
struct Place {
  int line = 1, column = 1;
  friend auto operator<=>(const Place&, const Place&) = default;
};

struct Entry;

/// One node of a file. Text is kept as written: what it means is for whoever reads it to say.
struct Node {
  enum class Kind {
    empty,  ///< nothing after the colon or dash, or `null`
    scalar,
    list,
    map,
    refused,  ///< already complained about: readers stay silent over it
  } kind = Kind::empty;
  Place place;
  std::string text;            ///< of a scalar
  bool quoted = false;         ///< the scalar stood in quotes or was a block
  std::vector<Node> items;     ///< of a list
  std::vector<Entry> entries;  ///< of a map, in the file's order; keys are unique
};

struct Entry {
  std::string key;
  Place place;  ///< of the key
  Node value;
};

/// Complaints about one file, gathered in any order.
class PlacedComplaints {
 public:
  explicit PlacedComplaints(std::string file) : file_{std::move(file)} {}
  void add(Place place, std::string what, std::string remedy);
  /// About the file as a whole.
  void add_whole(std::string what, std::string remedy);
  std::size_t count() const { return count_; }
  const std::string& file() const { return file_; }
  /// In the order of the file. Beyond kMost they are counted only: the last one says how many.
  Complaints sorted() const;
  static constexpr std::size_t kMost = 100;

 private:
  std::string file_;
  Complaints complaints_;
  std::size_t count_ = 0;
};

/// What no file of ours comes near, and what keeps a hostile one from costing time or memory.
constexpr std::size_t kMostBytes = 1u << 20;
constexpr int kMostDepth = 16;
constexpr std::size_t kMostNodes = 200'000;
/// The parser's time grows with the square of a line that holds a flow list (measured with yaml-cpp 0.7: 64 kB take
/// 0.7 s, 1 MB minutes), for it looks for a colon behind the bracket. In bytes.
constexpr std::size_t kMostLine = 1000;

/// The one document in `bytes`, or nothing when its syntax or a limit above forbids reading on. Anchors, aliases, tags,
/// `<<`, duplicate keys and keys that are not words are complained about and left out; reading goes on behind them.
std::optional<Node> parse(const std::string& bytes, PlacedComplaints& complaints);

/// The first place where `bytes` is not UTF-8, or holds a character that a reader would not see (control characters
/// other than tab and line end, marks that reverse the direction of writing), and what it is.
struct BadByte {
  Place place;
  std::string what;
};
std::optional<BadByte> bad_byte(const std::string& bytes);

}  // namespace rig::yaml
