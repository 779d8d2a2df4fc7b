#pragma once

#include <concepts>
#include <cstdint>
#include <memory>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "rig/store/digest.hpp"

struct sqlite3;
struct sqlite3_stmt;

/// SQLite's C interface with owners and exceptions, nothing more. Used inside rig/store only.
namespace rig::sqlite {

/// What a column can hold.
using Value = std::variant<std::monostate, std::int64_t, double, std::string, Blob>;
using Row = std::vector<Value>;

enum class Mode { read, write };

/// One connection, for one thread at a time. Every error is a StoreError with SQLite's extended code and words.
class Connection {
 public:
  /// Mode::write creates the file. Foreign keys on, trusted_schema off, cell_size_check on, busy time-out 5 s.
  Connection(const std::string& path, Mode mode, const std::string& vfs = {});
  Connection(const Connection&) = delete;
  Connection& operator=(const Connection&) = delete;
  ~Connection();

  void execute(const std::string& sql);          ///< one or more statements without parameters or results
  std::int64_t integer(const std::string& sql);  ///< first column of the first row; throws when there is none
  std::string text(const std::string& sql);
  const std::string& path() const { return path_; }
  sqlite3* handle() const { return handle_; }
  /// Throws the StoreError that belongs to a result code. `doing` says what was tried.
  [[noreturn]] void raise(int code, std::string_view doing) const;

 private:
  std::string path_;
  sqlite3* handle_ = nullptr;
};

/// A prepared statement. Bind, step, read columns, reset; or run() for all of it at once.
class Statement {
 public:
  Statement(Connection& connection, std::string_view sql);
  Statement(const Statement&) = delete;
  Statement& operator=(const Statement&) = delete;
  ~Statement();

  void bind(int position, std::monostate);  ///< positions count from 1, as in SQLite
  void bind(int position, std::int64_t value);
  void bind(int position, double value);  ///< NaN becomes null
  void bind(int position, std::string_view value);
  void bind(int position, std::span<const std::uint8_t> value);
  void bind(int position, const Value& value);
  /// Binds from position 1 on.
  template <class... Values>
  Statement& with(const Values&... values) {
    reset();
    int position = 0;
    (bind_as(++position, values), ...);
    return *this;
  }

  bool step();  ///< true while there is a row
  void run();   ///< steps to the end, resets
  void reset();

  bool is_null(int column) const;  ///< columns count from 0, as in SQLite
  std::int64_t integer(int column) const;
  double real(int column) const;
  std::string text(int column) const;
  std::span<const std::uint8_t> blob(int column) const;  ///< valid until the next step
  Row row() const;                                       ///< all columns, by what they hold

 private:
  template <class T>
  void bind_as(int position, const T& value) {
    if constexpr (std::integral<T>)
      bind(position, static_cast<std::int64_t>(value));
    else if constexpr (std::convertible_to<T, std::string_view>)
      bind(position, std::string_view{value});
    else
      bind(position, value);
  }
  void check(int code, std::string_view doing) const;
  Connection& connection_;
  sqlite3_stmt* handle_ = nullptr;
};

/// BEGIN IMMEDIATE; rolled back unless committed.
class Transaction {
 public:
  explicit Transaction(Connection& connection);
  Transaction(const Transaction&) = delete;
  Transaction& operator=(const Transaction&) = delete;
  ~Transaction();
  void commit();

 private:
  Connection& connection_;
  bool open_ = true;
};

}  // namespace rig::sqlite
