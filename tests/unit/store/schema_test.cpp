#include "rig/store/schema.hpp"

#include "rig/store/table_format.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

TEST_CASE("a store keeps its log ahead and syncs every commit", "[store][schema]") {
  const Folder folder;
  sqlite::Connection connection{folder.store(), sqlite::Mode::write};
  prepare_schema(connection);
  CHECK(connection.text("PRAGMA journal_mode") == "wal");
  CHECK(connection.integer("PRAGMA synchronous") == 2);  // FULL
  CHECK(connection.integer("PRAGMA foreign_keys") == 1);
  CHECK(connection.integer("PRAGMA trusted_schema") == 0);
  CHECK(connection.integer("PRAGMA cell_size_check") == 1);
  CHECK(connection.integer("PRAGMA busy_timeout") == 5000);
  CHECK(connection.integer("PRAGMA user_version") == kSchemaVersion);
}

TEST_CASE("opening a store again changes nothing in it", "[store][schema]") {
  const Folder folder;
  { StoreWriter writer{folder.store()}; }
  const std::string head = verify_store(folder.store()).head;
  { StoreWriter writer{folder.store()}; }
  CHECK(verify_store(folder.store()).head == head);
  CHECK(sqlite::Connection{folder.store(), sqlite::Mode::read}.integer("SELECT count(*) FROM schema_step") ==
        kSchemaVersion);
}

TEST_CASE("a store of a newer program is refused, for reading and for writing", "[store][schema]") {
  const Folder folder;
  { StoreWriter writer{folder.store()}; }
  tamper(folder.store(), "PRAGMA user_version=99");
  CHECK_THROWS_WITH(StoreWriter{folder.store()}, Catch::Contains("schema 99") && Catch::Contains("newer program"));
  CHECK_THROWS_WITH(StoreReader{folder.store()}, Catch::Contains("schema 99"));
}

TEST_CASE("a store whose schema steps are not this program's is refused", "[store][schema]") {
  const Folder folder;
  { StoreWriter writer{folder.store()}; }
  tamper(folder.store(), "UPDATE schema_step SET sha256 = 'x'");
  CHECK_THROWS_WITH(StoreWriter{folder.store()}, Catch::Contains("not the one this program applies"));
}

TEST_CASE("the schema's steps are those that stores out there were made with", "[store][schema]") {
  // Never edit an applied step: add one, and let this line stand.
  const Folder folder;
  { StoreWriter writer{folder.store()}; }
  sqlite::Connection connection{folder.store(), sqlite::Mode::read};
  CHECK(connection.text("SELECT sha256 FROM schema_step WHERE number = 1") ==
        "6d4a8416281e6487dd9ff9132cbf31d0d9257c167edf0c823bae7a09fc6a42c0");
  CHECK(connection.text("SELECT sha256 FROM schema_step WHERE number = 2") ==
        "9affbbe5bbde78e93b8f68dd3a6337bb762b9344b60fe3d454fdf765a4d3911d");
}

TEST_CASE("every chained column is a column of its table, and none is left out", "[store][schema]") {
  const Folder folder;
  { StoreWriter writer{folder.store()}; }
  sqlite::Connection connection{folder.store(), sqlite::Mode::read};
  for (const TableFormat& format : all_formats()) {
    std::string names;
    for (const std::string_view column : format.columns) names.append(column).append(",");
    CHECK(connection.text("SELECT group_concat(name, ',') || ',' FROM pragma_table_info('" + std::string{format.kind} +
                          "')") == names);
  }
}
