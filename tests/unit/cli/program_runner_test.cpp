// Programs beside a run: real ones, small.
#include "rig/cli/program_runner.hpp"

#include <csignal>
#include <thread>

#include "tests/unit/catch.hpp"

namespace {

using namespace rig;
using namespace std::chrono_literals;

struct Programs {
  std::vector<ProgramReport> reports;
  PosixProgramRunner runner{[this](const ProgramReport& report) { reports.push_back(report); }};

  ProgramResult run(std::vector<std::string> command, Nanoseconds time_out = 20s) {
    runner.start({std::move(command), time_out});
    while (true)
      if (auto result = runner.ended()) return *result;
  }
};

}  // namespace

TEST_CASE("a program's exit code and all it printed are kept", "[cli][program]") {
  Programs programs;
  CHECK(programs.run({"/bin/sh", "-c", "echo out; echo err >&2; exit 7"}).exit_code == 7);
  REQUIRE(programs.reports.size() == 1);
  CHECK(programs.reports[0].output == "out\nerr\n");
  CHECK(to_text(programs.reports[0]) == "/bin/sh -c echo out; echo err >&2; exit 7: exit code 7\nout\nerr\n");
}

TEST_CASE("a program is started as it is, never through a shell", "[cli][program]") {
  Programs programs;
  CHECK(programs.run({"echo", "$HOME; exit 3 | *"}).exit_code == 0);
  CHECK(programs.reports.at(0).output == "$HOME; exit 3 | *\n");
}

TEST_CASE("a program has nothing to read", "[cli][program]") {
  Programs programs;
  CHECK(programs.run({"cat"}).exit_code == 0);
  CHECK(programs.reports.at(0).output.empty());
}

TEST_CASE("a program that is not there says so", "[cli][program]") {
  Programs programs;
  const auto result = programs.run({"/no/such/program"});
  CHECK_FALSE(result.exit_code);
  CHECK(result.trouble == "'/no/such/program' could not be started: No such file or directory");
  CHECK(programs.reports.size() == 1);
  CHECK_FALSE(programs.run({}).exit_code);
}

TEST_CASE("a program that takes too long is killed with all it has started", "[cli][program]") {
  Programs programs;
  const auto result = programs.run({"/bin/sh", "-c", "echo $$; sleep 100 & sleep 100"}, 200ms);
  CHECK_FALSE(result.exit_code);
  CHECK(result.trouble == "it did not end in 0.2 s and was killed");
  const auto group = std::stoi(programs.reports.at(0).output);
  for (int i = 0; i < 200 && ::kill(-group, 0) == 0; ++i) std::this_thread::sleep_for(10ms);
  CHECK(::kill(-group, 0) != 0);
}

TEST_CASE("what a program leaves behind is ended with it", "[cli][program]") {
  Programs programs;
  CHECK(programs.run({"/bin/sh", "-c", "echo $$; sleep 100 >/dev/null 2>&1 &"}).exit_code == 0);
  const auto group = std::stoi(programs.reports.at(0).output);
  for (int i = 0; i < 200 && ::kill(-group, 0) == 0; ++i) std::this_thread::sleep_for(10ms);
  CHECK(::kill(-group, 0) != 0);
}

TEST_CASE("a program that the run ends is killed, and what it printed is kept", "[cli][program]") {
  Programs programs;
  programs.runner.start({{"/bin/sh", "-c", "echo begun; sleep 100"}, 100s});
  for (int i = 0; i < 20; ++i) CHECK_FALSE(programs.runner.ended());
  programs.runner.kill();
  REQUIRE(programs.reports.size() == 1);
  CHECK(programs.reports[0].output == "begun\n");
  CHECK(programs.reports[0].result.trouble == "it was killed: the run ended first");
  programs.runner.kill();
  CHECK(programs.reports.size() == 1);
}

TEST_CASE("a program that a signal ended has no exit code", "[cli][program]") {
  Programs programs;
  const auto result = programs.run({"/bin/sh", "-c", "kill -9 $$"});
  CHECK_FALSE(result.exit_code);
  CHECK(result.trouble == "it was ended by signal 9");
}

TEST_CASE("a program that prints without end fills no memory", "[cli][program]") {
  Programs programs;
  CHECK(programs.run({"/bin/sh", "-c", "echo first; head -c 1000000 /dev/zero | tr '\\0' x; echo; echo last"})
            .exit_code == 0);
  const auto& report = programs.reports.at(0);
  CHECK(report.output.size() < ProgramReport::kMostOutput + 100);
  CHECK(report.output.starts_with("first\n"));
  CHECK(report.output.ends_with("\nlast\n"));
  CHECK(report.left_out == 1'000'000 + 6 + 6 - ProgramReport::kMostOutput);
}
