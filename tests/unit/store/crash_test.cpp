#include <signal.h>
#include <sys/wait.h>

#include <algorithm>
#include <map>
#include <random>
#include <set>
#include <thread>

#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

/// What the child says through its pipe, after the commit: one finding of one run.
struct Acknowledged {
  RunNumber run;
  std::int64_t finding;
};

/// Runs units without end and acknowledges what is committed, until it is killed.
[[noreturn]] void work_until_killed(const std::string& store, int pipe) {
  const auto say = [pipe](Acknowledged what) {
    if (write(pipe, &what, sizeof what) != sizeof what) _exit(2);
  };
  try {
    WriterOptions options;
    options.on_commit = [&](const Commit& commit) {
      for (const StoredFinding& finding : commit.findings) say({finding.run, finding.id});
    };
    StoreWriter writer{store, options};
    writer.close_interrupted();
    for (std::uint32_t i = 0;; ++i) {
      const RunNumber run = write_run(writer, some_run(std::to_string(i)), Verdict::pass, 40, i);
      say({run, 0});  // its verdict is committed
    }
  } catch (const std::exception&) {
    _exit(3);
  }
}

std::vector<Acknowledged> run_and_kill(const std::string& store, std::chrono::microseconds after) {
  int ends[2];
  REQUIRE(pipe(ends) == 0);
  const pid_t child = fork();
  REQUIRE(child >= 0);
  if (child == 0) {
    close(ends[0]);
    work_until_killed(store, ends[1]);
  }
  close(ends[1]);
  std::this_thread::sleep_for(after);
  kill(child, SIGKILL);
  std::vector<Acknowledged> said;
  Acknowledged one{};
  while (read(ends[0], &one, sizeof one) == sizeof one) said.push_back(one);
  close(ends[0]);
  int status = 0;
  waitpid(child, &status, 0);
  CHECK(WIFSIGNALED(status));
  return said;
}

}  // namespace

TEST_CASE("a writer killed at any instant loses nothing that was acknowledged", "[store][crash]") {
  const unsigned seed = std::random_device{}();
  INFO("seed " << seed);
  std::mt19937 random{seed};
  const Folder folder;
  std::size_t acknowledged = 0, interrupted = 0;
  for (int i = 0; i < 50; ++i) {
    const auto said = run_and_kill(folder.store(), std::chrono::microseconds{random() % 60000});
    acknowledged += said.size();
    StoreWriter writer{folder.store()};  // also where the kill came before the store was made
    const auto closed = writer.close_interrupted();
    interrupted += closed.size();
    REQUIRE(closed.size() <= 1);
    for (const StoredRun& run : closed) CHECK(run.closed->verdict == Verdict::void_);

    const StoreReader reader{folder.store()};
    std::map<RunNumber, std::set<std::int64_t>> promised;
    for (const Acknowledged& what : said) promised[what.run].insert(what.finding);
    for (auto& [number, findings] : promised) {
      const StoredRun run = reader.load_run(number);
      REQUIRE(run.closed);
      if (findings.erase(0) != 0) REQUIRE(run.closed->verdict == Verdict::pass);
      std::set<std::int64_t> there;
      for (const StoredFinding& finding : reader.findings(number)) there.insert(finding.id);
      REQUIRE(std::ranges::includes(there, findings));
    }
    if (i % 10 == 9) {
      const VerifyReport report = verify_store(folder.store());
      REQUIRE(report.findings.empty());
      REQUIRE(sqlite::Connection{folder.store(), sqlite::Mode::read}.text("PRAGMA integrity_check") == "ok");
    }
  }
  CHECK(acknowledged > 100);  // else the kills came too early to prove anything
  CHECK(interrupted > 5);
}
