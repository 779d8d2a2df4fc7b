#pragma once

#include <cstdint>
#include <optional>
#include <span>
#include <string_view>

#include "rig/store/sqlite.hpp"

/// Which columns of which table are chained, and how a row becomes bytes (LEDGER.md).
namespace rig {

/// The chained tables.
enum class Table {
  input_file,
  calibration,
  run_opened,
  run_input,
  run_judge,
  finding,
  trace,
  run_event,
  run_closed,
  payload_released,
  audit_entry,
};

/// One encoding of one kind of row. Formats are kept for ever: a new column means a new format number beside the old
/// one, so that no migration changes a digest.
struct TableFormat {
  Table table;
  std::string_view kind;  ///< also the table's name
  std::uint16_t number;
  std::span<const std::string_view> columns;  ///< "id" first
};

std::span<const TableFormat> all_formats();
const TableFormat& current_format(Table table);
/// Nothing when this program does not know it.
const TableFormat* find_format(std::string_view kind, std::int64_t number);
/// "SELECT id, ... FROM kind"
std::string select_columns(const TableFormat& format);

/// The canonical encoding of a row: format number, kind, number of fields, and each field with its type and length,
/// all little-endian. The same row gives the same bytes on every machine and for ever.
Blob encode_row(const TableFormat& format, const sqlite::Row& row);

/// What a ledger row chains: SHA-256 over the digest before it and the encoding of (kind, format, row, run, row
/// digest).
struct LedgerEntry {
  std::string_view kind;
  std::int64_t format = 1;
  std::int64_t row = 0;
  std::optional<std::int64_t> run;
  Digest row_digest{};
};
Digest chain(std::span<const std::uint8_t> previous, const LedgerEntry& entry);
constexpr Digest kFirstPrevious{};  ///< what the first row of a ledger follows: 32 zeros

}  // namespace rig
