#pragma once

#include <map>
#include <memory>
#include <optional>

#include "rig/store/table_format.hpp"

namespace rig {

/// Appends chained rows to a store. Belongs to the writer's thread; every call is inside the writer's transaction, and
/// after a rollback the object is of no more use.
class Ledger {
 public:
  explicit Ledger(sqlite::Connection& connection);
  /// Gives the row the table's next id (or `id`), inserts it, chains it. Returns its id. `row` has no id column.
  std::int64_t append(Table table, sqlite::Row row, std::optional<std::int64_t> run,
                      std::optional<std::int64_t> id = {});
  sqlite::Connection& connection() { return connection_; }
  std::int64_t last_id(Table table) const { return inserts_.at(table).last_id; }

 private:
  struct Insert {
    std::unique_ptr<sqlite::Statement> statement;
    std::int64_t last_id = 0;
  };
  sqlite::Connection& connection_;
  std::map<Table, Insert> inserts_;
  sqlite::Statement insert_entry_;
  std::int64_t sequence_ = 0;
  Digest head_ = kFirstPrevious;
};

}  // namespace rig
