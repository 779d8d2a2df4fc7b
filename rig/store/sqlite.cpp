#include "rig/store/sqlite.hpp"

#include <fmt/format.h>
#include <sqlite3.h>

#include <cmath>

#include "rig/store/store_error.hpp"

namespace rig::sqlite {
namespace {

struct Words {
  StoreError::Kind kind;
  const char* what;
  const char* remedy;
};

Words words_for(int code) {
  using Kind = StoreError::Kind;
  switch (code & 0xff) {
    case SQLITE_BUSY:
    case SQLITE_LOCKED:
      return {Kind::busy, "another program holds the store", "Close it, then try again"};
    case SQLITE_FULL:
      return {Kind::full, "the disk is full", "Free at least 1 GiB on it, then run the unit again"};
    case SQLITE_CORRUPT:
      return {Kind::damaged, "the store is damaged",
              "Do not write to it; keep a copy, restore the last backup, and have the disk checked"};
    case SQLITE_NOTADB:
      return {Kind::damaged, "this is not a store, or its first page is damaged",
              "Name another file, or restore the last backup"};
    case SQLITE_CONSTRAINT:
      return {Kind::refused, "the store refuses this row", "Nothing was written; report this with the message"};
    case SQLITE_READONLY:
    case SQLITE_PERM:
    case SQLITE_AUTH:
      return {Kind::refused, "the store may not be written",
              "Check the owner and permissions of the file and its folder"};
    case SQLITE_CANTOPEN:
      return {Kind::io, "the store cannot be opened", "Check that its folder exists and may be read and written"};
    case SQLITE_TOOBIG:
      return {Kind::refused, "a value is too big to be stored", "Store it in smaller parts"};
    default:
      return {Kind::io, "the disk did not take or give the data",
              "Check the disk and its cable, then run the unit again"};
  }
}

}  // namespace

Connection::Connection(const std::string& path, Mode mode, const std::string& vfs) : path_{path} {
  const int flags = mode == Mode::write ? SQLITE_OPEN_READWRITE | SQLITE_OPEN_CREATE : SQLITE_OPEN_READONLY;
  const int code = sqlite3_open_v2(path.c_str(), &handle_, flags | SQLITE_OPEN_NOMUTEX | SQLITE_OPEN_EXRESCODE,
                                   vfs.empty() ? nullptr : vfs.c_str());
  try {
    if (code != SQLITE_OK) raise(code, "open");
    sqlite3_busy_timeout(handle_, 5000);
    execute(
        "PRAGMA foreign_keys=ON; PRAGMA trusted_schema=OFF; PRAGMA cell_size_check=ON; PRAGMA recursive_triggers=ON");
    if (mode == Mode::read) execute("PRAGMA query_only=ON");
  } catch (...) {
    sqlite3_close_v2(handle_);
    throw;
  }
}

Connection::~Connection() { sqlite3_close_v2(handle_); }

void Connection::execute(const std::string& sql) {
  const int code = sqlite3_exec(handle_, sql.c_str(), nullptr, nullptr, nullptr);
  if (code != SQLITE_OK) raise(code, std::string_view{sql}.substr(0, 60));
}

std::int64_t Connection::integer(const std::string& sql) {
  Statement statement{*this, sql};
  if (!statement.step()) raise(SQLITE_CORRUPT, sql);
  return statement.integer(0);
}

std::string Connection::text(const std::string& sql) {
  Statement statement{*this, sql};
  if (!statement.step()) raise(SQLITE_CORRUPT, sql);
  return statement.text(0);
}

void Connection::raise(int code, std::string_view doing) const {
  const Words words = words_for(code);
  const char* said =
      handle_ && sqlite3_extended_errcode(handle_) == code ? sqlite3_errmsg(handle_) : sqlite3_errstr(code);
  throw StoreError{words.kind, path_, fmt::format("{} (SQLite {}: {}; at \"{}\")", words.what, code, said, doing),
                   words.remedy, code};
}

Statement::Statement(Connection& connection, std::string_view sql) : connection_{connection} {
  check(sqlite3_prepare_v3(connection.handle(), sql.data(), static_cast<int>(sql.size()), 0, &handle_, nullptr), sql);
}

Statement::~Statement() { sqlite3_finalize(handle_); }

void Statement::check(int code, std::string_view doing) const {
  if (code != SQLITE_OK) connection_.raise(code, doing);
}

void Statement::bind(int position, std::monostate) { check(sqlite3_bind_null(handle_, position), "bind"); }
void Statement::bind(int position, std::int64_t value) { check(sqlite3_bind_int64(handle_, position, value), "bind"); }
void Statement::bind(int position, double value) { check(sqlite3_bind_double(handle_, position, value), "bind"); }

void Statement::bind(int position, std::string_view value) {
  const char* data = value.empty() ? "" : value.data();  // a null pointer would be stored as null
  check(sqlite3_bind_text64(handle_, position, data, value.size(), SQLITE_TRANSIENT, SQLITE_UTF8), "bind");
}

void Statement::bind(int position, std::span<const std::uint8_t> value) {
  const void* data = value.empty() ? static_cast<const void*>("") : value.data();
  check(sqlite3_bind_blob64(handle_, position, data, value.size(), SQLITE_TRANSIENT), "bind");
}

void Statement::bind(int position, const Value& value) {
  if (const auto* blob = std::get_if<Blob>(&value))
    bind(position, std::span<const std::uint8_t>{*blob});
  else if (const auto* text = std::get_if<std::string>(&value))
    bind(position, std::string_view{*text});
  else if (const auto* integer = std::get_if<std::int64_t>(&value))
    bind(position, *integer);
  else if (const auto* real = std::get_if<double>(&value))
    bind(position, *real);
  else
    bind(position, std::monostate{});
}

bool Statement::step() {
  const int code = sqlite3_step(handle_);
  if (code == SQLITE_ROW) return true;
  if (code == SQLITE_DONE) return false;
  connection_.raise(code, sqlite3_sql(handle_));
}

void Statement::run() {
  while (step()) {
  }
  reset();
}

void Statement::reset() { sqlite3_reset(handle_); }

bool Statement::is_null(int column) const { return sqlite3_column_type(handle_, column) == SQLITE_NULL; }
std::int64_t Statement::integer(int column) const { return sqlite3_column_int64(handle_, column); }
double Statement::real(int column) const {
  return is_null(column) ? std::nan("") : sqlite3_column_double(handle_, column);
}

std::string Statement::text(int column) const {
  const auto* data = reinterpret_cast<const char*>(sqlite3_column_text(handle_, column));
  return data ? std::string{data, static_cast<std::size_t>(sqlite3_column_bytes(handle_, column))} : std::string{};
}

std::span<const std::uint8_t> Statement::blob(int column) const {
  const auto* data = static_cast<const std::uint8_t*>(sqlite3_column_blob(handle_, column));
  return {data, data ? static_cast<std::size_t>(sqlite3_column_bytes(handle_, column)) : 0};
}

Row Statement::row() const {
  Row row;
  const int columns = sqlite3_column_count(handle_);
  row.reserve(static_cast<std::size_t>(columns));
  for (int i = 0; i < columns; ++i) {
    switch (sqlite3_column_type(handle_, i)) {
      case SQLITE_INTEGER:
        row.emplace_back(integer(i));
        break;
      case SQLITE_FLOAT:
        row.emplace_back(real(i));
        break;
      case SQLITE_TEXT:
        row.emplace_back(text(i));
        break;
      case SQLITE_BLOB: {
        const auto bytes = blob(i);
        row.emplace_back(Blob(bytes.begin(), bytes.end()));
        break;
      }
      default:
        row.emplace_back(std::monostate{});
    }
  }
  return row;
}

Transaction::Transaction(Connection& connection) : connection_{connection} { connection_.execute("BEGIN IMMEDIATE"); }

Transaction::~Transaction() {
  // A failed statement may have rolled back by itself; then there is nothing left to do.
  if (open_ && !sqlite3_get_autocommit(connection_.handle()))
    sqlite3_exec(connection_.handle(), "ROLLBACK", nullptr, nullptr, nullptr);
}

void Transaction::commit() {
  connection_.execute("COMMIT");
  open_ = false;
}

}  // namespace rig::sqlite
