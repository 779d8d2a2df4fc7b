#include <chrono>

#include "rig/compile/yaml_reader_tree.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;
using yaml::Node;

namespace {

/// A file's tree and the texts of all complaints about it.
struct Read {
  std::optional<Node> root;
  std::vector<std::string> complaints;
};
Read read(const std::string& bytes) {
  yaml::PlacedComplaints complaints{"a.yaml"};
  Read result{yaml::parse(bytes, complaints), {}};
  for (const Complaint& one : complaints.sorted()) result.complaints.push_back(to_text(one));
  return result;
}

/// How long reading takes, at best of three: the machine may be busy with something else.
std::chrono::milliseconds time_to_read(const std::string& bytes) {
  auto best = std::chrono::nanoseconds::max();
  for (int i = 0; i < 3; ++i) {
    const auto start = std::chrono::steady_clock::now();
    read(bytes);
    best = std::min<std::chrono::nanoseconds>(best, std::chrono::steady_clock::now() - start);
  }
  return std::chrono::duration_cast<std::chrono::milliseconds>(best);
}

}  // namespace

TEST_CASE("every node knows its line and its column, counted in characters", "[compile][yaml]") {
  const auto [root, complaints] = read("a: 1\nb:\n  - \"\xC3\xA4\xC3\xB6\"\n  - {\xC3\xA4: 2, c: 3}\n");
  REQUIRE(complaints.empty());
  REQUIRE(root->kind == Node::Kind::map);
  CHECK(root->entries[1].place == yaml::Place{2, 1});
  const Node& list = root->entries[1].value;
  CHECK(list.items[0].place == yaml::Place{3, 5});
  CHECK(list.items[0].quoted);
  CHECK(list.items[1].entries[1].place == yaml::Place{4, 12});
  CHECK(list.items[1].entries[1].value.text == "3");
}

TEST_CASE("a key that is there twice is refused, and the first place is named", "[compile][yaml]") {
  const auto [root, complaints] = read("a: 1\nb: 2\na: 3\n");
  REQUIRE(complaints ==
          std::vector<std::string>{"a.yaml:3:1: 'a' is there twice: first in line 1, column 1. Keep one of the two"});
  CHECK(root->entries.size() == 2);
  CHECK(root->entries[0].value.text == "1");
}

TEST_CASE("anchors, aliases, tags and merge keys are refused, all of them at once", "[compile][yaml]") {
  const auto [root, complaints] = read("a: &x 1\nb: *x\nc: !!int 2\n<<: {d: 1}\ne: !t [1]\n");
  REQUIRE(complaints.size() == 5);
  CHECK(complaints[0] == "a.yaml:1:4: an anchor ('&x') is not allowed. Remove it");
  CHECK(complaints[1] == "a.yaml:2:4: an alias ('*') is not allowed. Write the value out");
  CHECK(complaints[2].starts_with("a.yaml:3:4: a tag ('!') is not allowed"));
  CHECK(complaints[3] == "a.yaml:4:1: a merge key ('<<') is not allowed. Write the values out");
  CHECK(complaints[4].starts_with("a.yaml:5:4: a tag ('!') is not allowed"));
}

TEST_CASE("a key must be a word", "[compile][yaml]") {
  CHECK(read("[1, 2]: 3\n").complaints ==
        std::vector<std::string>{"a.yaml:1:1: a key must be a word. Write `word: value`"});
  CHECK(read("~: 3\n").complaints.size() == 1);
  CHECK(read("? {a: 1}\n: 2\n").complaints.size() == 1);
}

TEST_CASE("bytes that are no UTF-8 and characters that nobody sees are refused where they stand", "[compile][yaml]") {
  CHECK(read("a: b\nc: \xFF\n").complaints[0].starts_with("a.yaml:2:4: byte 0xff is not UTF-8"));
  CHECK(read("a: \xC0\xAF\n").complaints[0].starts_with("a.yaml:1:4: byte 0xc0 is not UTF-8"));      // overlong
  CHECK(read("a: \xED\xA0\x80\n").complaints[0].starts_with("a.yaml:1:4: byte 0xed is not UTF-8"));  // a surrogate
  CHECK(read("a: \xE2\x82").complaints[0].starts_with("a.yaml:1:4: byte 0xe2 is not UTF-8"));        // cut short
  CHECK(read(std::string{"a: b\0c", 6}).complaints[0].starts_with("a.yaml:1:5: hidden character U+0000"));
  CHECK(read("a: \x1B[31m\n").complaints[0].starts_with("a.yaml:1:4: hidden character U+001B"));
  CHECK(read("a: \xE2\x80\xAE\n")
            .complaints[0]
            .starts_with("a.yaml:1:4: hidden character U+202E"));  // turns the writing round
  CHECK(read("a: \xC3\xA4\t# \xE2\x82\xAC\r\nb: 1\r\n").complaints.empty());
}

TEST_CASE("an escape cannot bring in a hidden character", "[compile][yaml]") {
  CHECK(read("a: \"x\\0y\"\n").complaints ==
        std::vector<std::string>{"a.yaml:1:4: the text holds a hidden character U+0000. Remove it"});
  CHECK(read("\"\\x07\": 1\n").complaints.size() == 1);
}

TEST_CASE("what is no YAML is refused where the trouble shows", "[compile][yaml]") {
  CHECK(read("a: [1, 2\nb: 3\n").complaints[0].starts_with("a.yaml:2:2: this is not YAML: "));
  CHECK(read("a: 'open\n").complaints ==
        std::vector<std::string>{"a.yaml:1:4: the quote that starts here is never closed. Close it with '"});
  CHECK(read("a: 'it''s\n").complaints.size() == 1);
  CHECK(read("a: 'it''s'\nb: ''\n").complaints.empty());
  CHECK(read("a: b: c\n").complaints.size() == 1);
  CHECK(read("\ta: 1\n").complaints.size() == 1);
  CHECK(read("").complaints ==
        std::vector<std::string>{
            "a.yaml: the file is empty. Begin with its format: `product: 1`, `scenario: 1` or `bench: 1`"});
  CHECK(read("a: 1\n---\nb: 2\n").complaints ==
        std::vector<std::string>{"a.yaml:2:1: a second document starts here. Keep one document in a file"});
}

TEST_CASE("a file may be 16 levels deep and no deeper", "[compile][yaml]") {
  const auto nested = [](std::size_t depth) { return std::string(depth, '[') + std::string(depth, ']'); };
  CHECK(read(nested(16)).complaints.empty());
  CHECK(read(nested(17)).complaints[0].starts_with("a.yaml:1:17: lists and mappings are nested more than 16 deep"));
}

TEST_CASE("a file may hold 200,000 values and no more", "[compile][yaml]") {
  std::string list = "[";
  for (int i = 1; i < 200'000; ++i) list += i % 100 ? "0," : "0,\n";  // with the list itself
  CHECK(read(list + "]").complaints.empty());
  CHECK(read(list + "0]").complaints[0].find("holds more than 200000 values") != std::string::npos);
}

TEST_CASE("a line may be 1000 characters long and no longer", "[compile][yaml]") {
  CHECK(read("a: 1\nb: " + std::string(997, 'x') + "\n").complaints.empty());
  CHECK(read("a: 1\nb: " + std::string(998, 'x') + "\n").complaints ==
        std::vector<std::string>{"a.yaml:2:1: the line is longer than 1000 characters. Break it into several lines"});
}

TEST_CASE("a hostile file is refused within milliseconds", "[compile][yaml][hostile]") {
  using namespace std::chrono_literals;
  SECTION("an alias bomb of a few hundred bytes is not unfolded") {
    std::string bomb = "a0: &a0 [x, x, x, x, x, x, x, x, x, x]\n";
    for (int i = 1; i < 9; ++i) {
      bomb += "a" + std::to_string(i) + ": &a" + std::to_string(i) + " [";
      for (int k = 0; k < 10; ++k) bomb += (k ? ", *a" : "*a") + std::to_string(i - 1);
      bomb += "]\n";
    }
    CHECK(read(bomb).complaints.size() > 80);
    CHECK(time_to_read(bomb) < 50ms);
  }
  SECTION("a node that contains itself is an alias like any other") {
    const auto [root, complaints] = read("a: &a [*a]\n");
    CHECK(complaints.size() == 2);
    CHECK(root->entries[0].value.items[0].kind == Node::Kind::refused);
  }
  SECTION("50 MB are refused unread") {
    const std::string big(50u << 20, 'a');
    CHECK(read(big).complaints[0] ==
          "a.yaml: the file is 51200 kB long; 1024 kB are allowed. Check that this is the file you meant");
    CHECK(time_to_read(big) < 50ms);
  }
  SECTION("a megabyte of anything on one line is refused unparsed") {
    for (const char* mark : {"[", "0,", "a: ", "&a "}) {
      std::string line = "[";
      while (line.size() < (1u << 20) - 4) line += mark;
      INFO(mark);
      CHECK(read(line).complaints.size() == 1);
      CHECK(time_to_read(line) < 150ms);  // 2 ms in a release build
    }
  }
  SECTION("deep nesting over many lines ends at the 17th level") {
    for (const char* mark : {"[", "{", "- ", "? "}) {
      std::string deep;
      for (int i = 0; i < 20'000; ++i) deep += std::string{mark} + (i % 400 == 399 ? "\n" : "");
      INFO(mark);
      CHECK(read(deep).complaints.size() == 1);
      CHECK(time_to_read(deep) < 250ms);  // 10 ms in a release build
    }
  }
  SECTION("90,000 complaints are counted, not printed") {
    std::string many;
    for (int i = 0; i < 90'000; ++i) many += "a: 1\n";
    const auto [root, complaints] = read(many);
    REQUIRE(complaints.size() == yaml::PlacedComplaints::kMost + 1);
    CHECK(complaints.front().starts_with("a.yaml:2:1: 'a' is there twice"));
    CHECK(complaints.back() ==
          "a.yaml: 89899 more complaints are not shown. Mend the first ones, then check the file again");
  }
}
