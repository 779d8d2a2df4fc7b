// Re-seats are their own ending, counted apart; runs about the stand itself are nobody's attempts.
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

RunNumber write_reseat(StoreWriter& writer, const std::string& serial) {
  const auto run = writer.open_run(some_run(serial));
  writer.add_finding(run.number, some_finding(0, Verdict::void_));
  RunClosed closed;
  closed.run = run.number;
  closed.verdict = Verdict::void_;
  closed.reason = "the unit does not sit well";
  closed.end = RunEnd::reseat;
  writer.close_run(closed);
  return run.number;
}

RunOpened bench_run(const std::string& serial) {
  auto run = some_run(serial);
  run.purpose = "bench";
  return run;
}

}  // namespace

TEST_CASE("a re-seat is an ending of its own, an attempt all the same, and counted apart", "[store][reseat]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const auto first = write_reseat(writer, "00412");
  const auto second = write_reseat(writer, "00412");
  write_reseat(writer, "00413");
  const auto third = write_run(writer, some_run("00412"));
  const StoreReader reader{folder.store()};
  CHECK(reader.load_run(first).reseated());
  CHECK(reader.load_run(first).reseats == 1);
  CHECK(reader.load_run(second).reseats == 2);
  CHECK_FALSE(reader.load_run(third).reseated());
  CHECK(reader.load_run(third).reseats == 2);
  CHECK(reader.load_run(third).opened.attempt == 3);
  CHECK(reader.attempts_of("00412").size() == 3);
  CHECK(reader.birth_record("00412")->number == third);
  CHECK(verify_store(folder.store()).sound());
}

TEST_CASE("a re-seat says nothing of the unit: the store takes it as void only", "[store][reseat]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const auto run = writer.open_run(some_run());
  RunClosed closed;
  closed.run = run.number;
  closed.verdict = Verdict::fail;
  closed.end = RunEnd::reseat;
  CHECK_THROWS_AS(writer.close_run(closed), StoreError);
}

TEST_CASE("a run about the stand is no attempt of a serial and never its birth record", "[store][reseat]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  write_run(writer, bench_run("00412"));
  const auto second = write_run(writer, bench_run("00412"));
  const StoreReader reader{folder.store()};
  CHECK(reader.load_run(second).opened.attempt == 2);
  CHECK(reader.attempts_of("00412").empty());
  CHECK_FALSE(reader.birth_record("00412"));
  const auto sold = write_run(writer, some_run("00412"));
  CHECK(reader.load_run(sold).opened.attempt == 1);
  CHECK(reader.birth_record("00412")->number == sold);
}

TEST_CASE("the runs on a bench are counted from the last time its fixture was changed", "[store][reseat]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  auto on = [&](const char* bench) {
    auto run = some_run();
    run.bench = bench;
    return write_run(writer, run);
  };
  on("left"), on("right");
  AuditEntry entry{"A. Keeper", "new fixture", "left", "pins worn", {}};
  writer.wait(writer.add_audit(entry));
  const auto after = on("left");
  const StoreReader reader{folder.store()};
  CHECK(reader.runs_on("left", "new fixture") == std::vector<RunNumber>{after});
  CHECK(reader.runs_on("left", "another action").size() == 2);
  CHECK(reader.runs_on("right", "new fixture").size() == 1);
  REQUIRE(reader.audits("new fixture", "left").size() == 1);
  CHECK(reader.audits("new fixture", "left").front().detail == "pins worn");
}

TEST_CASE("re-seats and other voids are listed apart", "[store][reseat]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const auto reseat = write_reseat(writer, "00412");
  const auto other = write_run(writer, some_run("00412"), Verdict::void_);
  const StoreReader reader{folder.store()};
  RunFilter filter;
  filter.verdict = Verdict::void_;
  REQUIRE(reader.list_runs(filter).size() == 1);
  CHECK(reader.list_runs(filter).front().number == other);
  filter.reseated = true;
  REQUIRE(reader.list_runs(filter).size() == 1);
  CHECK(reader.list_runs(filter).front().number == reseat);
  CHECK(reader.list_runs().size() == 2);
}
