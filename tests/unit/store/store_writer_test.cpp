#include "rig/store/store_writer.hpp"

#include <atomic>
#include <cmath>
#include <thread>

#include "rig/store/free_space.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;
using namespace std::chrono_literals;

TEST_CASE("a run is in the store before open_run returns", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  CHECK(run.number == 1);
  CHECK(run.attempt == 1);
  CHECK(StoreReader{folder.store()}.load_run(run.number).id == run.id);
}

TEST_CASE("findings are announced after their commit, once each, in order", "[store][writer]") {
  const Folder folder;
  std::vector<std::string> announced;
  Ticket announced_to = 0;
  WriterOptions options;
  options.on_commit = [&](const Commit& commit) {
    CHECK(commit.ticket > announced_to);
    announced_to = commit.ticket;
    if (commit.findings.empty()) return;
    const auto there = StoreReader{folder.store()}.findings(1);  // a reader of its own sees what is announced
    REQUIRE(there.size() == announced.size() + commit.findings.size());
    for (const StoredFinding& finding : commit.findings) {
      CHECK(finding.id == static_cast<std::int64_t>(announced.size() + 1));
      announced.push_back(finding.finding.id);
    }
  };
  StoreWriter writer{folder.store(), options};
  const OpenedRun run = writer.open_run(some_run());
  Ticket last = 0;
  for (int i = 0; i < 200; ++i) last = writer.add_finding(run.number, some_finding(i));
  writer.wait(last);
  CHECK(writer.committed() >= last);
  REQUIRE(announced.size() == 200);
  for (int i = 0; i < 200; ++i) CHECK(announced[static_cast<std::size_t>(i)] == some_finding(i).id);
  CHECK(announced_to == writer.committed());
}

TEST_CASE("everything that waits goes into one commit", "[store][writer]") {
  const Folder folder;
  std::atomic<int> commits = 0;
  WriterOptions options;
  options.on_commit = [&](const Commit& commit) {
    ++commits;
    if (commit.ticket == 1) std::this_thread::sleep_for(50ms);  // the disk is slow; meanwhile the rest queues up
  };
  StoreWriter writer{folder.store(), options};
  AuditEntry first;
  first.who = "x", first.action = "y";
  writer.add_audit(first);
  while (writer.backlog().oldest < 1ms) std::this_thread::yield();
  Ticket last = 0;
  for (int i = 0; i < 100; ++i) last = writer.add_audit(first);
  writer.wait(last);
  CHECK(commits <= 3);
}

TEST_CASE("the backlog says when the disk no longer keeps up", "[store][writer]") {
  CHECK_FALSE(Backlog{.findings = 256, .oldest = 2000ms}.too_far_behind());
  CHECK(Backlog{.findings = 257}.too_far_behind());
  CHECK(Backlog{.findings = 0, .oldest = 2001ms}.too_far_behind());
  const Folder folder;
  std::atomic<bool> held = true;
  WriterOptions options;
  options.queue_limit = 400;
  options.on_commit = [&](const Commit& commit) {
    while (!commit.findings.empty() && held) std::this_thread::sleep_for(1ms);
  };
  StoreWriter writer{folder.store(), options};
  const OpenedRun run = writer.open_run(some_run());
  CHECK(writer.backlog().findings == 0);
  for (int i = 0; i < 300; ++i) writer.add_finding(run.number, some_finding(i));
  CHECK(writer.backlog().findings == 300);
  CHECK_FALSE(writer.wait_for_room(10ms));
  SECTION("and a full queue refuses instead of dropping") {
    int accepted = 300;
    try {
      for (;; ++accepted) writer.add_finding(run.number, some_finding(accepted));
    } catch (const StoreError& error) {
      CHECK(error.kind() == StoreError::Kind::behind);
    }
    held = false;
    CHECK(writer.wait_for_room(10s));
    writer.wait(writer.add_finding(run.number, some_finding(accepted)));
    CHECK(StoreReader{folder.store()}.findings(run.number).size() == static_cast<std::size_t>(accepted + 1));
  }
  SECTION("and there is room again once it does") {
    held = false;
    CHECK(writer.wait_for_room(10s));
  }
}

TEST_CASE("a run cannot pass without findings, or with one that did not pass", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  RunClosed closed;
  closed.run = run.number, closed.verdict = Verdict::pass;
  SECTION("without findings") {}
  SECTION("with a fail") {
    writer.add_finding(run.number, some_finding(0));
    writer.add_finding(run.number, some_finding(1, Verdict::fail));
  }
  SECTION("with an undecided") { writer.add_finding(run.number, some_finding(1, Verdict::undecided)); }
  CHECK_THROWS_WITH(writer.close_run(closed), Catch::Contains("a run passes only with findings that all pass"));
  CHECK_FALSE(StoreReader{folder.store()}.load_run(run.number).closed);
}

TEST_CASE("a finding that passes without a value never reaches the store", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const OpenedRun run = writer.open_run(some_run());
  Finding finding = some_finding();
  finding.value = std::nan("");
  CHECK_THROWS_WITH(writer.add_finding(run.number, finding), Catch::Contains("passes without a value"));
  writer.wait(writer.add_finding(run.number, some_finding()));  // the writer goes on
  CHECK(StoreReader{folder.store()}.findings(run.number).size() == 1);
}

TEST_CASE("nothing is added to a closed run, and a run is closed once", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const RunNumber run = write_run(writer);
  SECTION("a finding") {
    CHECK_THROWS_WITH(writer.wait(writer.add_finding(run, some_finding())), Catch::Contains("its run is closed"));
  }
  SECTION("a trace") {
    CHECK_THROWS_WITH(writer.wait(writer.add_trace(run, some_trace())), Catch::Contains("its run is closed"));
  }
  SECTION("an end") {
    RunClosed closed;
    closed.run = run;
    CHECK_THROWS_WITH(writer.close_run(closed), Catch::Contains("never replaced"));
  }
  CHECK(verify_store(folder.store()).sound());
}

TEST_CASE("a finding for a run that is not there is refused, and the writer says so from then on", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const Ticket ticket = writer.add_finding(99, some_finding());
  CHECK_THROWS_AS(writer.wait(ticket), StoreError);
  CHECK_THROWS_AS(writer.add_finding(1, some_finding()), StoreError);
  CHECK_THROWS_AS(writer.open_run(some_run()), StoreError);
  CHECK_THROWS_AS(writer.backlog(), StoreError);
}

TEST_CASE("a second writer on the same store is refused in words", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  CHECK_THROWS_WITH(StoreWriter{folder.store()}, Catch::Contains("another program is writing this store") &&
                                                     Catch::Contains(std::to_string(getpid())));
  std::filesystem::create_symlink(folder.store(), folder.path + "/other-name");
  CHECK_THROWS_WITH(StoreWriter{folder.path + "/other-name"}, Catch::Contains("another program is writing this store"));
  CHECK_NOTHROW(writer.open_run(some_run()));
}

TEST_CASE("runs that a dead writer left open are closed as void", "[store][writer]") {
  const Folder folder;
  {
    StoreWriter writer{folder.store()};
    write_run(writer);
    const OpenedRun open = writer.open_run(some_run("00413"));
    writer.wait(writer.add_finding(open.number, some_finding()));
  }
  StoreWriter writer{folder.store()};
  const OpenedRun live = writer.open_run(some_run("00414"));
  const auto closed = writer.close_interrupted();
  REQUIRE(closed.size() == 1);
  CHECK(closed[0].number == 2);
  CHECK(closed[0].closed->verdict == Verdict::void_);
  CHECK(closed[0].closed->end == RunEnd::interrupted);
  CHECK_THAT(closed[0].closed->reason, Catch::Contains("the program ended before the run did"));
  CHECK(closed[0].closed->counts.pass == 1);
  CHECK_FALSE(StoreReader{folder.store()}.load_run(live.number).closed);
  CHECK(writer.close_interrupted().empty());
}

TEST_CASE("many threads may write, each ticket is its own", "[store][writer]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  std::vector<std::thread> threads;
  for (int t = 0; t < 4; ++t)
    threads.emplace_back([&writer, t] {
      const OpenedRun run = writer.open_run(some_run(std::to_string(t)));
      for (int i = 0; i < 50; ++i) writer.add_finding(run.number, some_finding(i));
      RunClosed closed;
      closed.run = run.number, closed.verdict = Verdict::pass;
      writer.close_run(closed);
    });
  for (std::thread& thread : threads) thread.join();
  const StoreReader reader{folder.store()};
  for (const StoredRun& run : reader.list_runs()) CHECK(run.closed->counts.pass == 50);
  CHECK(reader.list_runs().size() == 4);
  CHECK(verify_store(folder.store()).sound());
}

TEST_CASE("room for a run is asked for on the disk that holds the store", "[store][writer]") {
  const Folder folder;
  CHECK(enough_space(folder.store(), 1));
  CHECK_FALSE(enough_space(folder.store(), std::uintmax_t{1} << 62));
  CHECK_THROWS_AS(enough_space(folder.path + "/no/such/runs.store"), StoreError);
}
