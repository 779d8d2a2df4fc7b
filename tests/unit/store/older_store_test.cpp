// A store that an older program wrote: read as it is, brought up to date by the first writer, and no digest changes.
#include <fstream>
#include <sstream>

#include "rig/store/schema.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

/// The head of its ledger, noted when it was written.
constexpr const char* kHead = "51f8aa1af7aa108503d3799ae098dfe5a785fa325a852f088f4f0a1168ce546b";

void lay_old_store(const std::string& path) {
  std::ifstream file{std::string{PROOFSTAND_SOURCE_DIR} + "/tests/unit/store/schema_1_store.sql"};
  std::ostringstream sql;
  sql << file.rdbuf();
  sqlite::Connection connection{path, sqlite::Mode::write};
  connection.execute(sql.str());
}

}  // namespace

TEST_CASE("a store of the first schema is read and verified without being changed", "[store][schema]") {
  const Folder folder;
  lay_old_store(folder.store());
  CHECK(StoreReader{folder.store()}.list_runs().size() == 4);
  CHECK(StoreReader{folder.store()}.birth_record("00412"));
  const auto report = verify_store(folder.store());
  CHECK(report.sound());
  CHECK(report.head == kHead);
  CHECK(sqlite::Connection{folder.store(), sqlite::Mode::read}.integer("PRAGMA user_version") == 1);
}

TEST_CASE("a writer brings a store of the first schema up to date, and every digest stays", "[store][schema]") {
  const Folder folder;
  lay_old_store(folder.store());
  { StoreWriter writer{folder.store()}; }
  CHECK(sqlite::Connection{folder.store(), sqlite::Mode::read}.integer("PRAGMA user_version") == kSchemaVersion);
  const auto report = verify_store(folder.store(), {true, kHead});
  CHECK(report.sound());
  CHECK(report.head == kHead);

  StoreWriter writer{folder.store()};
  CHECK(writer.close_interrupted().size() == 1);
  write_run(writer, some_run("00412"));
  const StoreReader reader{folder.store()};
  CHECK(reader.load_run(RunNumber{3}).closed->end == RunEnd::stopped);
  CHECK(reader.load_run(RunNumber{5}).opened.attempt == 2);
  CHECK(verify_store(folder.store(), {true, kHead}).sound());
}

TEST_CASE("a store that was brought up to date keeps its guards", "[store][schema]") {
  const Folder folder;
  lay_old_store(folder.store());
  { StoreWriter writer{folder.store()}; }
  sqlite::Connection connection{folder.store(), sqlite::Mode::write};
  CHECK_THROWS_WITH(connection.execute("UPDATE run_closed SET reason = 'x'"), Catch::Contains("never changed"));
  CHECK_THROWS_WITH(connection.execute("DELETE FROM run_closed"), Catch::Contains("never removed"));
  CHECK_THROWS_WITH(
      connection.execute("INSERT INTO finding (run, characteristic, step, unit, value, uncertainty, verdict, reason) "
                         "VALUES (1, 'a/b', 'a', 'V', 1, 0, 'pass', '')"),
      Catch::Contains("its run is closed"));
}
