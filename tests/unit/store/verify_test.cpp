#include "rig/store/verify.hpp"

#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;
using Kind = LedgerFinding::Kind;

namespace {

struct Store : Folder {
  Store() {
    StoreWriter writer{store()};
    write_run(writer, some_run("00412"));
    write_run(writer, some_run("00413"), Verdict::fail, 4, 7);
  }
  std::int64_t ask(const std::string& sql) const {
    return sqlite::Connection{store(), sqlite::Mode::read}.integer(sql);
  }
  VerifyReport after(const std::string& sql) const {
    tamper(store(), sql);
    return verify_store(store());
  }
};

bool has(const VerifyReport& report, Kind kind, const std::string& table, std::int64_t row) {
  for (const LedgerFinding& finding : report.findings)
    if (finding.kind == kind && finding.table == table && finding.row == row) return true;
  return false;
}

}  // namespace

TEST_CASE("an untouched store is sound, and its head is printed as the anchor to keep elsewhere", "[store][verify]") {
  const Store store;
  const VerifyReport report = verify_store(store.store());
  CHECK(report.findings.empty());
  CHECK(report.sound());
  CHECK(report.rows == store.ask("SELECT count(*) FROM ledger"));
  CHECK(report.payloads == store.ask("SELECT count(*) FROM trace_payload"));
  CHECK(report.head.size() == 64);
  CHECK_THAT(report.advice(), Catch::Contains(report.head) && Catch::Contains("anchor outside this file"));
}

TEST_CASE("a change of any column of any row is found", "[store][verify]") {
  const Store store;
  const std::vector<std::pair<std::string, std::string>> changes{
      {"finding", "value = value + 1e-9"},
      {"finding", "verdict = 'void'"},
      {"finding", "high = NULL"},
      {"finding", "expected = 0"},
      {"finding", "reason = reason || ' '"},
      {"finding", "margin = 9"},
      {"finding", "characteristic = 'a'"},
      {"finding", "segment = 77"},
      {"finding", "uncertainty = 0"},
      {"finding", "unit = 'V'"},
      {"finding", "step = 'hold'"},
      {"finding", "low = -1"},
      {"run_closed", "verdict = 'void'"},
      {"run_closed", "reason = 'x'"},
      {"run_closed", "outputs_safe = 0"},
      {"run_closed", "supply_v = 1"},
      {"run_closed", "passed = 77"},
      {"run_opened", "serial = '00999'"},
      {"run_opened", "operator = 'B'"},
      {"run_opened", "defects = ''"},
      {"run_opened", "opened_at = '2000-01-01T00:00:00.000Z'"},
      {"run_input", "path = 'x'"},
      {"run_judge", "version = 9"},
      {"input_file", "content = x'00'"},
      {"trace", "name = 'x'"},
      {"trace", "info = x''"},
      {"trace", "length = 1"}};
  for (const auto& [table, change] : changes) {
    INFO(table << ": " << change);
    const std::string copy = store.path + "/copy.store";
    std::filesystem::remove(copy);
    sqlite::Connection{store.store(), sqlite::Mode::write}.execute("VACUUM INTO '" + copy + "'");
    tamper(copy, "UPDATE " + table + " SET " + change + " WHERE id = 2");
    const VerifyReport report = verify_store(copy);
    CHECK(has(report, Kind::altered_row, table, 2));
    CHECK_FALSE(report.sound());
  }
}

TEST_CASE("every altered byte of a finding's texts and numbers is found", "[store][verify]") {
  const Folder folder;
  {
    StoreWriter writer{folder.store()};
    const OpenedRun run = writer.open_run(some_run());
    writer.wait(writer.add_finding(run.number, some_finding(0, Verdict::fail)));
  }
  const std::string reason = some_finding(0, Verdict::fail).reason;
  for (std::size_t at = 0; at < reason.size(); ++at) {
    std::string changed = reason;
    changed[at] = static_cast<char>(changed[at] ^ 1);
    tamper(folder.store(), "UPDATE finding SET reason = '" + changed + "'");
    CHECK(has(verify_store(folder.store()), Kind::altered_row, "finding", 1));
  }
  tamper(folder.store(), "UPDATE finding SET reason = '" + reason + "'");
  CHECK(verify_store(folder.store()).sound());
  for (int bit = 0; bit < 52; ++bit) {  // every bit of a double's fraction, one at a time
    sqlite::Connection raw{folder.store(), sqlite::Mode::write};
    raw.execute("PRAGMA synchronous=OFF; DROP TRIGGER IF EXISTS finding_keeps_rows");
    const double value = std::bit_cast<double>(std::bit_cast<std::uint64_t>(151.25) ^ (std::uint64_t{1} << bit));
    sqlite::Statement{raw, "UPDATE finding SET value = ?"}.with(value).run();
    CHECK(has(verify_store(folder.store()), Kind::altered_row, "finding", 1));
  }
}

TEST_CASE("a removed row is found, with and without its ledger row", "[store][verify]") {
  const Store store;
  const std::int64_t sequence = store.ask("SELECT id FROM ledger WHERE kind = 'finding' AND row = 2");
  SECTION("the row alone") {
    CHECK(has(store.after("DELETE FROM finding WHERE id = 2"), Kind::missing_row, "finding", 2));
  }
  SECTION("the ledger row alone") {
    const VerifyReport report = store.after("DELETE FROM ledger WHERE kind = 'finding' AND row = 2");
    CHECK(has(report, Kind::missing_row, "ledger", sequence));
    CHECK(has(report, Kind::unchained_row, "finding", 2));
  }
  SECTION("both") {
    CHECK(has(store.after("DELETE FROM finding WHERE id = 2; DELETE FROM ledger WHERE kind = 'finding' AND row = 2"),
              Kind::missing_row, "ledger", sequence));
  }
  SECTION("both, and the ledger counted anew") {
    const VerifyReport report = store.after(
        "DELETE FROM finding WHERE id = 2; DELETE FROM ledger WHERE kind = 'finding' AND row = 2; "
        "UPDATE ledger SET id = -id WHERE id > " +
        std::to_string(sequence) + "; UPDATE ledger SET id = -id - 1 WHERE id < 0");
    CHECK(has(report, Kind::missing_row, "ledger", sequence));
    CHECK(report.findings.size() == 1);
  }
  SECTION("the first rows") {
    CHECK(has(store.after("DELETE FROM ledger WHERE id < 3"), Kind::missing_row, "ledger", 1));
  }
}

TEST_CASE("rows in another order are found", "[store][verify]") {
  const Store store;
  const VerifyReport report = store.after(
      "UPDATE ledger SET id = -1 WHERE id = 5; UPDATE ledger SET id = 5 WHERE id = 6; UPDATE ledger SET id = 6 WHERE "
      "id = -1");
  CHECK(has(report, Kind::reordered, "ledger", 5));
  for (const LedgerFinding& finding : report.findings) CHECK(finding.kind == Kind::reordered);
}

TEST_CASE("two rows that changed places are found", "[store][verify]") {
  const Store store;
  const VerifyReport report = store.after(
      "UPDATE finding SET id = -1 WHERE id = 1; UPDATE finding SET id = 1 WHERE id = 2; UPDATE finding SET id = 2 "
      "WHERE id = -1");
  CHECK(has(report, Kind::altered_row, "finding", 1));
  CHECK(has(report, Kind::altered_row, "finding", 2));
}

TEST_CASE("a row that was put in from outside is found", "[store][verify]") {
  const Store store;
  const VerifyReport report = store.after(
      "INSERT INTO run_judge (id, run, step_kind, version) VALUES (99, 1, 'hold', 1); INSERT INTO trace_payload "
      "(sha256, content) VALUES "
      "(lower(hex(zeroblob(32))), x'00')");
  CHECK(has(report, Kind::unchained_row, "run_judge", 99));
  CHECK(has(report, Kind::unchained_row, "trace_payload", 0));
}

TEST_CASE("a ledger row that was changed is found", "[store][verify]") {
  const Store store;
  const std::string column = GENERATE("previous", "row_digest", "digest", "run", "row", "kind", "format");
  const std::string value = column == "run" || column == "row" || column == "format" ? "77"
                            : column == "kind"                                       ? "'x'"
                                                                                     : "randomblob(32)";
  INFO(column);
  const VerifyReport report = store.after("UPDATE ledger SET " + column + " = " + value + " WHERE id = 5");
  CHECK(has(report, Kind::altered_ledger, "ledger", 5));
}

TEST_CASE("altered, missing and released trace bytes are three different findings", "[store][verify]") {
  const Store store;
  const std::string of_trace_6 = "sha256 = (SELECT sha256 FROM trace WHERE id = 6)";
  REQUIRE(store.ask("SELECT run FROM trace WHERE id = 6") == 2);
  SECTION("altered") {
    CHECK(has(store.after("UPDATE trace_payload SET content = CAST(content || x'00' AS BLOB) WHERE " + of_trace_6),
              Kind::altered_payload, "trace_payload", 6));
    CHECK_THROWS_WITH(StoreReader{store.store()}.load_step_trace(2, "sweep"),
                      Catch::Contains("not those that were recorded"));
  }
  SECTION("missing") {
    CHECK(has(store.after("DELETE FROM trace_payload WHERE " + of_trace_6), Kind::missing_payload, "trace_payload", 6));
    CHECK_THROWS_WITH(StoreReader{store.store()}.load_step_trace(2, "sweep"), Catch::Contains("nobody released them"));
  }
  SECTION("released") {
    StoreWriter{store.store()}.release_payloads({{StoreReader{store.store()}.traces(2)[1].sha256}, "policy", "A"});
    const VerifyReport report = verify_store(store.store());
    CHECK(has(report, Kind::released_payload, "trace_payload", 6));
    CHECK(report.sound());
  }
}

TEST_CASE("a guard that was taken down, changed or added is found", "[store][verify]") {
  const Store store;
  sqlite::Connection raw{store.store(), sqlite::Mode::write};
  SECTION("taken down") { raw.execute("DROP TRIGGER finding_keeps_rows"); }
  SECTION("changed") {
    raw.execute(
        "DROP TRIGGER finding_keeps_rows; CREATE TRIGGER finding_keeps_rows BEFORE UPDATE ON finding BEGIN SELECT 1; "
        "END");
  }
  SECTION("added") { raw.execute("CREATE TRIGGER other AFTER INSERT ON finding BEGIN SELECT 1; END"); }
  const VerifyReport report = verify_store(store.store());
  REQUIRE(report.findings.size() == 1);
  CHECK(report.findings[0].kind == Kind::altered_schema);
}

TEST_CASE("a removed tail shows only against a head that was noted elsewhere", "[store][verify]") {
  const Store store;
  const std::string head = verify_store(store.store()).head;
  CHECK(verify_store(store.store(), {.known_head = head}).sound());
  tamper(store.store(),
         "DELETE FROM run_closed WHERE id = 2; DELETE FROM ledger WHERE id = (SELECT max(id) FROM ledger)");
  CHECK(verify_store(store.store()).sound());
  const VerifyReport report = verify_store(store.store(), {.known_head = head});
  REQUIRE(report.findings.size() == 1);
  CHECK_THAT(report.findings[0].text, Catch::Contains("its tail was removed"));
}

TEST_CASE("many faults are counted without end, listed up to a number", "[store][verify]") {
  const Folder folder;
  {
    StoreWriter writer{folder.store()};
    const OpenedRun run = writer.open_run(some_run());
    for (int i = 0; i < 1100; ++i) writer.add_finding(run.number, some_finding(i));
  }
  tamper(folder.store(), "UPDATE finding SET value = 0");
  const VerifyReport report = verify_store(folder.store());
  CHECK(report.findings.size() == VerifyReport::kMostFindings);
  CHECK(report.more);
  CHECK_FALSE(report.sound());
}
