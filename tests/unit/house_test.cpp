#include <algorithm>
#include <cstdio>
#include <filesystem>
#include <fstream>
#include <map>
#include <regex>
#include <set>
#include <sstream>
#include <string>
#include <string_view>
#include <vector>

#include "tests/unit/catch.hpp"

/// The rules of the house that no compiler checks: who may include whom, what lies at the top, words that are not used.
namespace {

namespace fs = std::filesystem;

const fs::path kRoot{PROOFSTAND_SOURCE_DIR};

struct SourceText {
  std::string path;  ///< from the root, with forward slashes
  std::vector<std::string> lines;
};

bool is_hidden_or_built(const fs::path& name) {
  const std::string text = name.string();
  return text.starts_with(".git") || text == "build" || text.starts_with("build-") || text == "__pycache__" ||
         text == "node_modules";
}

std::vector<SourceText> read_tree(const std::vector<std::string>& endings) {
  std::vector<SourceText> found;
  for (auto it = fs::recursive_directory_iterator{kRoot}; it != fs::recursive_directory_iterator{}; ++it) {
    if (is_hidden_or_built(it->path().filename())) {
      if (it->is_directory()) it.disable_recursion_pending();
      continue;
    }
    if (!it->is_regular_file()) continue;
    const std::string name = it->path().filename().string();
    const bool wanted =
        std::any_of(endings.begin(), endings.end(), [&](const auto& end) { return name.ends_with(end); });
    if (!wanted) continue;
    SourceText text{fs::relative(it->path(), kRoot).generic_string(), {}};
    std::ifstream in{it->path()};
    for (std::string line; std::getline(in, line);) text.lines.push_back(line);
    found.push_back(std::move(text));
  }
  REQUIRE(!found.empty());
  return found;
}

const std::vector<SourceText>& sources() {
  static const std::vector<SourceText> all = read_tree({".cpp", ".hpp", ".c", ".h"});
  return all;
}

/// Every file that people read: code, scripts, data, pages.
const std::vector<SourceText>& texts() {
  static const std::vector<SourceText> all =
      read_tree({".cpp", ".hpp", ".c", ".h", ".py", ".sh", ".yaml", ".json", ".md", ".sql", ".txt", ".html", ".css",
                 ".js", "demo", "install", "all", "lint", "run"});
  return all;
}

/// The room a path belongs to: the longest named folder it lies in.
std::string room_of(std::string_view path) {
  static const std::vector<std::string> rooms{"rig/core",     "rig/measure",  "rig/compile",   "rig/run",
                                              "rig/store",    "rig/study",    "rig/service",   "rig/page",
                                              "rig/cli",      "drivers/link", "drivers/board", "drivers/emulated",
                                              "drivers/scpi", "reports",      "tests"};
  for (const auto& room : rooms)
    if (path.starts_with(room + "/")) return room;
  if (path.starts_with("drivers/")) return path == "drivers/bench.hpp" ? "drivers/bench.hpp" : "drivers";
  return "";
}

/// Who may include whom besides itself. `tests` and `rig/cli` may include everything.
const std::map<std::string, std::set<std::string>>& may_include() {
  static const std::map<std::string, std::set<std::string>> table{
      {"rig/core", {}},
      {"rig/measure", {"rig/core"}},
      {"rig/compile", {"rig/core", "rig/measure"}},
      {"rig/run", {"rig/core", "rig/measure", "rig/compile", "drivers/bench.hpp"}},
      {"rig/store", {"rig/core"}},
      {"rig/study", {"rig/core", "rig/measure", "rig/compile", "rig/run", "rig/store", "drivers/bench.hpp"}},
      {"rig/service", {"rig/core", "rig/run", "rig/store", "rig/study", "reports"}},
      {"rig/page", {}},
      {"drivers/bench.hpp", {"rig/core"}},
      {"drivers",
       {"rig/core", "drivers/bench.hpp", "drivers/link", "drivers/board", "drivers/emulated", "drivers/scpi"}},
      {"drivers/link", {"rig/core"}},
      {"drivers/board", {"rig/core", "drivers/bench.hpp", "drivers/link"}},
      {"drivers/emulated", {"rig/core", "drivers/bench.hpp", "drivers/link"}},
      {"drivers/scpi", {"rig/core", "drivers/bench.hpp", "drivers/link"}},
      {"reports", {"rig/core", "rig/store", "rig/study"}},
  };
  return table;
}

/// A library's headers, and the only places that may see them.
struct Fenced {
  std::string library;
  std::regex header;
  std::set<std::string> rooms;
};

const std::vector<Fenced>& fences() {
  static const std::vector<Fenced> all{
      {"yaml-cpp", std::regex{"^yaml-cpp/"}, {"rig/compile", "tests"}},
      {"SQLite", std::regex{"^sqlite3"}, {"rig/store", "tests"}},
      {"libserialport", std::regex{"^libserialport"}, {"drivers/link", "tests"}},
      {"Asio",
       std::regex{"^boost/(asio|beast)"},
       {"drivers/link", "drivers/board", "drivers/scpi", "rig/service", "tests"}},
      {"CLI11", std::regex{"^CLI/"}, {"rig/cli"}},
      {"JSON", std::regex{"^nlohmann/"}, {"rig/cli", "rig/service", "tests"}},
      {"zlib", std::regex{"^zlib"}, {"rig/store", "tests"}},
      {"libsodium", std::regex{"^sodium"}, {"rig/store", "rig/compile", "tests"}},
  };
  return all;
}

std::string place(const SourceText& file, std::size_t line) { return file.path + ":" + std::to_string(line + 1); }

/// Reports every line that breaks a rule at once, not the first only.
class Breaches {
 public:
  void add(const std::string& what) { text_ += "\n  " + what, ++count_; }
  void require_none() const {
    INFO(text_);
    CHECK(count_ == 0);
  }

 private:
  std::string text_;
  int count_ = 0;
};

TEST_CASE("a room includes only the rooms that the house allows it", "[house]") {
  static const std::regex include{R"re(^\s*#\s*include\s*"([^"]+)")re"};
  Breaches breaches;
  for (const auto& file : sources()) {
    const std::string from = room_of(file.path);
    if (from == "tests" || from == "rig/cli") continue;
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      std::smatch match;
      if (!std::regex_search(file.lines[i], match, include)) continue;
      const std::string to = room_of(match[1].str());
      if (to.empty()) {
        breaches.add(place(file, i) + ": \"" + match[1].str() + "\" is not written from the root");
        continue;
      }
      const auto allowed = may_include().find(from);
      if (to != from && (allowed == may_include().end() || !allowed->second.contains(to)))
        breaches.add(place(file, i) + ": " + from + " may not include " + to);
    }
  }
  breaches.require_none();
}

TEST_CASE("a driver includes no other driver", "[house]") {
  for (const std::string driver : {"drivers/board", "drivers/emulated", "drivers/scpi"})
    for (const std::string other : {"drivers/board", "drivers/emulated", "drivers/scpi"})
      if (driver != other) CHECK(!may_include().at(driver).contains(other));
  CHECK(may_include().at("drivers/link").size() == 1);
}

TEST_CASE("each library is seen by the rooms that hide it and by no other", "[house]") {
  static const std::regex include{R"re(^\s*#\s*include\s*<([^>]+)>)re"};
  Breaches breaches;
  for (const auto& file : sources()) {
    const std::string room = room_of(file.path);
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      std::smatch match;
      if (!std::regex_search(file.lines[i], match, include)) continue;
      const std::string header = match[1].str();
      for (const auto& fence : fences())
        if (std::regex_search(header, fence.header) && !fence.rooms.contains(room))
          breaches.add(place(file, i) + ": " + fence.library + " is not for " + room);
    }
  }
  breaches.require_none();
}

TEST_CASE("core is made of the standard library alone and touches no file, terminal or clock", "[house]") {
  static const std::regex include{R"re(^\s*#\s*include\s*<([^>]+)>)re"};
  static const std::regex outside{
      R"(^(iostream|fstream|filesystem|thread|mutex|future|condition_variable|cstdio|unistd\.h|.*/.*|.*\.h)$)"};
  Breaches breaches;
  for (const auto& file : sources()) {
    if (!file.path.starts_with("rig/core/")) continue;
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      std::smatch match;
      if (!std::regex_search(file.lines[i], match, include)) continue;
      if (std::regex_match(match[1].str(), outside))
        breaches.add(place(file, i) + ": <" + match[1].str() + "> in rig/core");
    }
  }
  breaches.require_none();
}

TEST_CASE("headers carry their guard, and none outside the tests opens a namespace to all", "[house]") {
  Breaches breaches;
  for (const auto& file : sources()) {
    if (!file.path.ends_with(".hpp")) continue;
    bool guarded = false;
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      guarded |= file.lines[i] == "#pragma once";
      if (!file.path.starts_with("tests/") && file.lines[i].starts_with("using namespace"))
        breaches.add(place(file, i) + ": using namespace in a header");
    }
    if (!guarded) breaches.add(file.path + ": no #pragma once");
  }
  breaches.require_none();
}

TEST_CASE("no source file grows beyond 600 lines", "[house]") {
  Breaches breaches;
  std::string long_ones;
  for (const auto& file : sources()) {
    const auto lines = file.lines.size();
    if (lines > 600) breaches.add(file.path + ": " + std::to_string(lines) + " lines. Split it by subject");
    if (lines > 400) long_ones += "\n  " + file.path + ": " + std::to_string(lines) + " lines";
  }
  if (!long_ones.empty()) WARN("over 400 lines, a reason to split:" << long_ones);
  breaches.require_none();
}

TEST_CASE("file names say what they hold", "[house]") {
  static const std::regex vague{R"((^|/|_)(utils?|helpers?|common|manager|misc)(_|\.|/))"};
  Breaches breaches;
  for (const auto& file : sources())
    if (std::regex_search(file.path, vague)) breaches.add(file.path);
  breaches.require_none();
}

TEST_CASE("words that clash or date are not used", "[house]") {
  struct Word {
    std::regex pattern;
    std::string remedy;
  };
  // Written in pieces, so that this file does not find itself.
  const auto word = [](const std::string& a, const std::string& b, bool whole = true) {
    return std::regex{whole ? "\\b" + a + b + "\\b" : a + b};
  };
  const std::vector<Word> words{
      {word("TO", "DO"), "say what would settle it, or do it"},
      {word("FIX", "ME"), "fix it"},
      {word("[Gg]ol", "den"), "check unit, or expected output"},
      {word("[Rr]eci", "pes?"), "scenario"},
      {word("[Ss]tat", "ions?"), "bench"},
      {word("M", "AP"), "manifold pressure"},
      {word("/wo", "rk/", false), "no machine's paths"},
      {word("\\bsha", "red/", false), "no path outside the house"},
  };
  Breaches breaches;
  for (const auto& file : texts())
    for (std::size_t i = 0; i < file.lines.size(); ++i)
      for (const auto& w : words)
        if (std::regex_search(file.lines[i], w.pattern)) breaches.add(place(file, i) + ": say instead: " + w.remedy);
  breaches.require_none();
}

TEST_CASE("no lambda with captures is written inside a co_await expression", "[house]") {
  // g++ 12 destroys its captures twice. Name the lambda first and move it in.
  static const std::regex trap{R"(co_await\b.*[(,]\s*\[[^\]]*[A-Za-z=&][^\]]*\]\s*[({m])"};
  static const std::regex chosen{R"(co_await\s*\(?[^;]*\?[^;]*:[^:])"};
  Breaches breaches;
  for (const auto& file : sources()) {
    if (file.path == "tests/unit/house_test.cpp") continue;
    for (std::size_t i = 0; i < file.lines.size(); ++i) {
      if (file.lines[i].find("co_await") == std::string::npos) continue;
      // The expression may run on: look as far as its end, at most five lines.
      std::string expression = file.lines[i].substr(0, file.lines[i].find("//"));
      for (std::size_t k = i + 1; k < std::min(i + 5, file.lines.size()) && expression.find(';') == std::string::npos;
           ++k)
        expression += " " + file.lines[k];
      if (std::regex_search(expression, trap))
        breaches.add(place(file, i) + ": a temporary lambda with captures in co_await");
      if (std::regex_search(expression, chosen)) breaches.add(place(file, i) + ": co_await of a choice by ?:");
    }
  }
  breaches.require_none();
}

TEST_CASE("nothing sets the program's locale", "[house]") {
  Breaches breaches;
  static const std::regex setter{R"(std::locale::global\s*\(|\bsetlocale\s*\()"};
  for (const auto& file : sources()) {
    if (file.path.starts_with("tests/")) continue;
    for (std::size_t i = 0; i < file.lines.size(); ++i)
      if (std::regex_search(file.lines[i], setter)) breaches.add(place(file, i));
  }
  breaches.require_none();
}

TEST_CASE("the top level holds the fixed names and nothing else", "[house]") {
  const std::set<std::string> fixed{"CMakeLists.txt", "README.md", "DEVELOPERS.md", "LICENSE", "rig",
                                    "scenarios",      "drivers",   "tests",         "reports"};
  for (const auto& entry : fs::directory_iterator{kRoot}) {
    const std::string name = entry.path().filename().string();
    INFO(name);
    CHECK((fixed.contains(name) || name.starts_with(".") || is_hidden_or_built(name)));
  }
  for (const auto& name : fixed) {
    INFO(name);
    CHECK(fs::exists(kRoot / name));
  }
}

TEST_CASE("the developers' page fits what a person reads in one go", "[house]") {
  for (const auto& file : texts())
    if (file.path == "DEVELOPERS.md") CHECK(file.lines.size() <= 150);
}

}  // namespace
