#include <filesystem>
#include <fstream>
#include <map>
#include <set>

#include "rig/compile/load.hpp"
#include "tests/unit/catch.hpp"

using namespace rig;
namespace fs = std::filesystem;

namespace {

fs::path bad() { return fs::path{PROOFSTAND_SOURCE_DIR} / "scenarios" / "bad"; }

/// The folder is left out of a complaint: the list is the same wherever the files lie.
std::set<std::string> complaints_about(const std::string& name) {
  std::set<std::string> texts;
  for (Complaint one : check_file((bad() / name).string()).complaints) {
    one.file = fs::path{one.file}.lexically_relative(bad()).string();
    texts.insert(to_text(one));
  }
  return texts;
}

}  // namespace

TEST_CASE("every bad example gives just the complaint that EXPECTED.txt promises", "[compile][load]") {
  std::ifstream list{bad() / "EXPECTED.txt"};
  REQUIRE(list);
  std::map<std::string, std::set<std::string>> expected;
  for (std::string line; std::getline(list, line);) {
    // `example.yaml > complaint`: the complaint may be about a file that the example names.
    const std::size_t arrow = line.find(" > ");
    REQUIRE(arrow != std::string::npos);
    expected[line.substr(0, arrow)].insert(line.substr(arrow + 3));
  }
  CHECK(expected.size() >= 25);
  for (const auto& entry : fs::directory_iterator{bad()}) {
    if (entry.path().extension() != ".yaml") continue;
    const std::string name = entry.path().filename().string();
    INFO(name);
    REQUIRE(expected.count(name) == 1);
    CHECK(complaints_about(name) == expected[name]);
    expected.erase(name);
  }
  for (const auto& [name, texts] : expected) FAIL_CHECK("EXPECTED.txt names " << name << ", which is not there");
}

TEST_CASE("the sound files beside the bad examples have nothing wrong with them", "[compile][load]") {
  int files = 0;
  for (const auto& entry : fs::directory_iterator{bad() / "sound"}) {
    const std::string name = "sound/" + entry.path().filename().string();
    INFO(name);
    CHECK(complaints_about(name).empty());
    ++files;
  }
  CHECK(files == 7);
}
