#include "rig/store/schema.hpp"

#include <fmt/format.h>

#include "rig/store/store_error.hpp"
#include "rig/store/wall_time.hpp"

namespace rig {

extern const char* const kSchemaStep1;
extern const char* const kSchemaStep2;

namespace {

const char* step_sql(std::int64_t number) {
  static const char* const kSteps[kSchemaVersion] = {kSchemaStep1, kSchemaStep2};
  return kSteps[number - 1];
}

std::string step_digest(std::int64_t number) { return to_hex(sha256(as_bytes(step_sql(number)))); }

void apply_step(sqlite::Connection& connection, std::int64_t number) {
  connection.execute(step_sql(number));
  sqlite::Statement{connection, "INSERT INTO schema_step (number, sha256, applied_at) VALUES (?, ?, ?)"}
      .with(number, step_digest(number), to_text(wall_time_now()))
      .run();
  connection.execute(fmt::format("PRAGMA user_version={}", number));
}

void create_step_table(sqlite::Connection& connection) {
  connection.execute(
      "CREATE TABLE schema_step (number INTEGER PRIMARY KEY, sha256 TEXT NOT NULL, applied_at TEXT NOT NULL) STRICT");
  connection.execute(fmt::format("PRAGMA application_id={}", kApplicationId));
}

/// The store's version; 0 for an empty file. Refuses what is not a store of this or an older program.
std::int64_t version_of(sqlite::Connection& connection) {
  const std::int64_t version = connection.integer("PRAGMA user_version");
  const std::int64_t application = connection.integer("PRAGMA application_id");
  if (application == 0 && version == 0 && connection.integer("SELECT count(*) FROM sqlite_schema") == 0) return 0;
  if (application != kApplicationId)
    throw StoreError{StoreError::Kind::refused, connection.path(), "this database belongs to another program",
                     "Name a file of this program, or one that does not exist yet"};
  if (version > kSchemaVersion)
    throw StoreError{StoreError::Kind::refused, connection.path(),
                     fmt::format("the store has schema {}, this program knows up to {}", version, kSchemaVersion),
                     "Use the newer program that wrote it"};
  return version;
}

void check_applied_steps(sqlite::Connection& connection, std::int64_t version) {
  sqlite::Statement steps{connection, "SELECT number, sha256 FROM schema_step ORDER BY number"};
  std::int64_t expected = 0;
  while (steps.step()) {
    ++expected;
    if (steps.integer(0) != expected || expected > version || steps.text(1) != step_digest(expected))
      throw StoreError{StoreError::Kind::damaged, connection.path(),
                       fmt::format("step {} of the schema is not the one this program applies", steps.integer(0)),
                       "Run verify on it, and use the program that wrote it"};
  }
  if (expected != version)
    throw StoreError{StoreError::Kind::damaged, connection.path(), "the list of applied schema steps is incomplete",
                     "Run verify on it, and restore the last backup"};
}

}  // namespace

void prepare_schema(sqlite::Connection& connection) {
  if (connection.text("PRAGMA journal_mode=WAL") != "wal")
    throw StoreError{StoreError::Kind::refused, connection.path(), "the file system does not allow a write-ahead log",
                     "Keep the store on a local disk"};
  connection.execute("PRAGMA synchronous=FULL; PRAGMA wal_autocheckpoint=2000");
  if (version_of(connection) == 0) {
    sqlite::Transaction transaction{connection};
    create_step_table(connection);
    apply_step(connection, 1);
    transaction.commit();
  }
  check_applied_steps(connection, version_of(connection));
  for (std::int64_t next = version_of(connection) + 1; next <= kSchemaVersion; ++next) {
    sqlite::Transaction transaction{connection};
    apply_step(connection, next);
    transaction.commit();
  }
}

std::int64_t check_schema(sqlite::Connection& connection) {
  const std::int64_t version = version_of(connection);
  if (version == 0)
    throw StoreError{StoreError::Kind::not_found, connection.path(), "the store is empty", "Run a unit first"};
  check_applied_steps(connection, version);
  return version;
}

void create_schema(sqlite::Connection& connection, std::int64_t version) {
  create_step_table(connection);
  for (std::int64_t number = 1; number <= version; ++number) apply_step(connection, number);
}

}  // namespace rig
