// The hard ceiling cannot be switched off from the command line.
#include <filesystem>
#include <iostream>
#include <sstream>

#include "rig/cli/commands.hpp"
#include "rig/cli/exit_code.hpp"
#include "tests/unit/compile/scratch_folder.hpp"
#include "tests/unit/compile/shipped.hpp"

namespace {

using namespace rig;

/// What the program prints is kept, and what it returns.
struct Program {
  ScratchFolder folder;
  std::string out, talk;

  int operator()(std::vector<std::string> arguments) {
    arguments.insert(arguments.begin(), "proofstand");
    std::vector<char*> argv;
    argv.reserve(arguments.size() + 1);
    for (auto& argument : arguments) argv.push_back(argument.data());
    argv.push_back(nullptr);
    std::ostringstream captured, captured_talk;
    auto* const before = std::cout.rdbuf(captured.rdbuf());
    auto* const talk_before = std::cerr.rdbuf(captured_talk.rdbuf());
    const int code = proofstand(static_cast<int>(arguments.size()), argv.data());
    std::cout.rdbuf(before);
    std::cerr.rdbuf(talk_before);
    out = captured.str(), talk = captured_talk.str();
    return code;
  }
  std::vector<std::string> run(const std::vector<std::string>& more) {
    std::vector<std::string> all{"run",      shipped::path("end-of-line.yaml"),
                                 "--bench",  shipped::path("benches/emulated.yaml"),
                                 "--unit",   "T00001",
                                 "--store",  (folder.path() / "store.sqlite").string(),
                                 "--defect", "excess_shift"};
    all.insert(all.end(), more.begin(), more.end());
    return all;
  }
};

}  // namespace

TEST_CASE("no option of the command line reaches the ceiling", "[cli][ceiling]") {
  Program program;
  for (const char* option :
       {"--no-ceiling", "--ceiling=off", "--hard-ceiling=100", "--most-hidden=90", "--skip=ceiling", "--only=sweep",
        "--band=40", "--force", "--ignore=ceiling/manifold_pressure"}) {
    CAPTURE(option);
    CHECK(program(program.run({option})) == kBadInput);
    CHECK_FALSE(std::filesystem::exists(program.folder.path() / "store.sqlite"));
  }
}

TEST_CASE("a unit that hides too much fails for it with every option that there is", "[cli][ceiling]") {
  Program program;
  CHECK(program(program.run({"--seed", "7", "--operator", "somebody", "--json"})) == kNotPassed);
  CHECK(program.out.find("ceiling/manifold_pressure") != std::string::npos);
}

TEST_CASE("a scenario and a bench are held against each other before anything is run", "[cli][check]") {
  Program program;
  const auto scenario = shipped::path("end-of-line.yaml"), bench = shipped::path("benches/emulated.yaml");
  CHECK(program({"check", scenario, bench}) == kDone);
  CHECK(program.out.find("end-of-line.yaml on ") != std::string::npos);
}
