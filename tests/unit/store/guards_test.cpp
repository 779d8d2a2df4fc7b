#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

const char* const kTables[] = {"input_file",       "calibration", "run_opened", "run_input",
                               "run_judge",        "finding",     "trace",      "run_event",
                               "payload_released", "audit_entry", "ledger",     "run_closed"};

/// A store with a row in every table.
void fill_every_table(const std::string& path) {
  StoreWriter writer{path};
  StoredCalibration calibration;
  calibration.bench = "left", calibration.content = "x";
  writer.keep_calibration(calibration);
  AuditEntry audit;
  audit.who = "A", audit.action = "b";
  writer.add_audit(audit);
  const RunNumber run = write_run(writer, some_run("bad"), Verdict::fail);
  const OpenedRun open = writer.open_run(some_run());
  RunEvent event;
  event.run = open.number, event.kind = "prompt";
  writer.wait(writer.add_event(event));
  writer.release_payloads({{StoreReader{path}.traces(run)[0].sha256}, "fails after a year", "A"});
}

}  // namespace

TEST_CASE("no row is ever changed, removed or replaced by a program that keeps the guards", "[store][guards]") {
  const Folder folder;
  fill_every_table(folder.store());
  sqlite::Connection raw{folder.store(), sqlite::Mode::write};
  for (const std::string table : kTables) {
    INFO(table);
    REQUIRE(raw.integer("SELECT count(*) FROM " + table) > 0);
    CHECK_THROWS_WITH(raw.execute("UPDATE " + table + " SET id = id"), Catch::Contains("a row is never changed"));
    CHECK_THROWS_WITH(raw.execute("DELETE FROM " + table), Catch::Contains("a row is never removed"));
    CHECK_THROWS_WITH(raw.execute("INSERT OR REPLACE INTO " + table + " SELECT * FROM " + table),
                      Catch::Contains("a row is never replaced") || Catch::Contains("its run is closed"));
  }
  CHECK_THROWS_WITH(raw.execute("UPDATE trace_payload SET content = x''"), Catch::Contains("a row is never changed"));
  CHECK_THROWS_WITH(raw.execute("INSERT OR REPLACE INTO trace_payload SELECT * FROM trace_payload"),
                    Catch::Contains("a row is never replaced"));
  CHECK_THROWS_WITH(raw.execute("DELETE FROM trace_payload"), Catch::Contains("only with a row in payload_released"));
  CHECK(verify_store(folder.store()).sound());
}

TEST_CASE("every table is strict and refuses what the program would not write", "[store][guards]") {
  const Folder folder;
  fill_every_table(folder.store());
  sqlite::Connection raw{folder.store(), sqlite::Mode::write};
  CHECK(raw.integer("SELECT count(*) FROM pragma_table_list WHERE schema = 'main' AND type = 'table' AND strict = 0 "
                    "AND name NOT LIKE "
                    "'sqlite%'") == 0);
  const auto refused = [&](const std::string& sql) { CHECK_THROWS_AS(raw.execute(sql), StoreError); };
  const std::string head =
      "INSERT INTO finding (run, characteristic, step, unit, value, uncertainty, verdict, reason) VALUES ";
  refused(head + "(2, 'a', 's', 'V', 1.0, 0.0, 'passed', '')");
  refused(head + "(2, 'a', 's', 'V', NULL, 0.0, 'pass', '')");
  refused(head + "(2, 'a', 's', 'V', 'one', 0.0, 'pass', '')");
  refused(head + "(99, 'a', 's', 'V', 1.0, 0.0, 'pass', '')");
  refused(head + "(2, '', 's', 'V', 1.0, 0.0, 'pass', '')");
  refused(head + "(1, 'a', 's', 'V', 1.0, 0.0, 'pass', '')");  // run 1 is closed
}

TEST_CASE("trace bytes go only in the transaction that says who released them and why", "[store][guards]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  const RunNumber run = write_run(writer, some_run(), Verdict::fail);
  const std::string digest = StoreReader{folder.store()}.traces(run)[1].sha256;
  writer.release_payloads({{digest}, "fails after a year", "A. Keeper"});
  CHECK_THROWS_WITH(
      StoreReader{folder.store()}.load_step_trace(run, "sweep"),
      Catch::Contains("were released") && Catch::Contains("A. Keeper") && Catch::Contains("fails after a year"));
  CHECK(StoreReader{folder.store()}.findings(run).size() == 3);
  const VerifyReport report = verify_store(folder.store());
  REQUIRE(report.findings.size() == 1);
  CHECK(report.findings[0].kind == LedgerFinding::Kind::released_payload);
  CHECK(report.sound());
}

TEST_CASE("a birth record's trace bytes are never released", "[store][guards]") {
  const Folder folder;
  StoreWriter writer{folder.store()};
  write_run(writer, some_run(), Verdict::fail, 3, 1);
  const RunNumber birth = write_run(writer, some_run(), Verdict::pass, 3, 2);
  const RunNumber later = write_run(writer, some_run(), Verdict::pass, 3, 3);
  const StoreReader reader{folder.store()};
  writer.release_payloads({{reader.traces(later)[1].sha256}, "later passes", "A"});
  CHECK_THROWS_WITH(writer.release_payloads({{reader.traces(birth)[1].sha256}, "all", "A"}),
                    Catch::Contains("birth record"));
  CHECK_NOTHROW(reader.load_step_trace(birth, "sweep"));
}
