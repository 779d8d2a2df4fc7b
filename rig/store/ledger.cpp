#include "rig/store/ledger.hpp"

#include <algorithm>
#include <cmath>

namespace rig {
namespace {

std::string insert_sql(const TableFormat& format) {
  std::string names, marks;
  for (const std::string_view column : format.columns) {
    if (!names.empty()) names += ", ", marks += ", ";
    names += column, marks += "?";
  }
  return std::string{"INSERT INTO "}.append(format.kind) + " (" + names + ") VALUES (" + marks + ")";
}

}  // namespace

Ledger::Ledger(sqlite::Connection& connection)
    : connection_{connection},
      insert_entry_{connection,
                    "INSERT INTO ledger (id, previous, kind, format, row, run, row_digest, digest) "
                    "VALUES (?, ?, ?, ?, ?, ?, ?, ?)"} {
  for (const TableFormat& any : all_formats()) {
    const TableFormat& format = current_format(any.table);
    Insert& insert = inserts_[format.table];
    if (insert.statement) continue;
    insert.statement = std::make_unique<sqlite::Statement>(connection, insert_sql(format));
    insert.last_id = connection.integer(std::string{"SELECT ifnull(max(id), 0) FROM "}.append(format.kind));
  }
  sqlite::Statement head{connection, "SELECT id, digest FROM ledger ORDER BY id DESC LIMIT 1"};
  if (!head.step()) return;
  sequence_ = head.integer(0);
  std::ranges::copy(head.blob(1), head_.begin());  // 32 bytes: the table's CHECK says so
}

std::int64_t Ledger::append(Table table, sqlite::Row row, std::optional<std::int64_t> run,
                            std::optional<std::int64_t> id) {
  const TableFormat& format = current_format(table);
  Insert& insert = inserts_.at(table);
  row.insert(row.begin(), id.value_or(insert.last_id + 1));
  const std::int64_t row_id = std::get<std::int64_t>(row.front());
  insert.statement->reset();
  for (std::size_t i = 0; i < row.size(); ++i) insert.statement->bind(static_cast<int>(i + 1), row[i]);
  insert.statement->run();
  insert.last_id = std::max(insert.last_id, row_id);

  const LedgerEntry entry{.kind = format.kind,
                          .format = format.number,
                          .row = row_id,
                          .run = run,
                          .row_digest = sha256(encode_row(format, row))};
  const Digest digest = chain(head_, entry);
  const sqlite::Value run_value = run ? sqlite::Value{*run} : sqlite::Value{};
  insert_entry_
      .with(++sequence_, std::span<const std::uint8_t>{head_}, entry.kind, entry.format, row_id, run_value,
            std::span<const std::uint8_t>{entry.row_digest}, std::span<const std::uint8_t>{digest})
      .run();
  head_ = digest;
  return row_id;
}

}  // namespace rig
