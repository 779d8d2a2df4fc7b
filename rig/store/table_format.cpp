#include "rig/store/table_format.hpp"

#include <bit>
#include <cassert>
#include <cmath>
#include <limits>

namespace rig {
namespace {

using Columns = std::string_view;
constexpr Columns kInputFile[] = {"id", "sha256", "content"};
constexpr Columns kCalibration[] = {"id", "sha256", "bench", "made_by", "certificate", "made_at", "content"};
constexpr Columns kRunOpened[] = {"id",        "uuid",    "serial",  "attempt",    "product", "scenario",
                                  "bench",     "purpose", "program", "operator",   "host",    "boot",
                                  "opened_at", "defects", "seed",    "calibration"};
constexpr Columns kRunInput[] = {"id", "run", "role", "path", "sha256"};
constexpr Columns kRunJudge[] = {"id", "run", "step_kind", "version"};
constexpr Columns kFinding[] = {"id",  "run",  "characteristic", "step",   "unit",    "value",  "expected",
                                "low", "high", "uncertainty",    "margin", "verdict", "reason", "segment"};
constexpr Columns kTrace[] = {"id", "run", "step", "part", "track", "name", "info", "codec", "sha256", "length"};
constexpr Columns kRunEvent[] = {"id", "run", "kind", "text", "who", "at_ns", "happened_at"};
constexpr Columns kRunClosed[] = {"id",
                                  "verdict",
                                  "reason",
                                  "ended",
                                  "end_text",
                                  "outputs_safe",
                                  "supply_v",
                                  "closed_at",
                                  "bench_duration_ns",
                                  "host_duration_ns",
                                  "segments_repeated",
                                  "passed",
                                  "failed",
                                  "undecided",
                                  "voided"};
constexpr Columns kPayloadReleased[] = {"id", "sha256", "policy", "who", "released_at"};
constexpr Columns kAuditEntry[] = {"id", "who", "action", "subject", "detail", "happened_at"};

/// In the order of Table; further formats of a table follow at the end.
const TableFormat kFormats[] = {
    {Table::input_file, "input_file", 1, kInputFile},
    {Table::calibration, "calibration", 1, kCalibration},
    {Table::run_opened, "run_opened", 1, kRunOpened},
    {Table::run_input, "run_input", 1, kRunInput},
    {Table::run_judge, "run_judge", 1, kRunJudge},
    {Table::finding, "finding", 1, kFinding},
    {Table::trace, "trace", 1, kTrace},
    {Table::run_event, "run_event", 1, kRunEvent},
    {Table::run_closed, "run_closed", 1, kRunClosed},
    {Table::payload_released, "payload_released", 1, kPayloadReleased},
    {Table::audit_entry, "audit_entry", 1, kAuditEntry},
};

enum class FieldType : std::uint8_t { null = 0, integer = 1, real = 2, text = 3, blob = 4 };

void put(Blob& out, std::uint64_t value, int bytes) {
  for (int i = 0; i < bytes; ++i) out.push_back(static_cast<std::uint8_t>(value >> (8 * i)));
}

void put_field(Blob& out, FieldType type, std::span<const std::uint8_t> bytes) {
  assert(bytes.size() <= std::numeric_limits<std::uint32_t>::max());
  out.push_back(static_cast<std::uint8_t>(type));
  put(out, bytes.size(), 4);
  out.insert(out.end(), bytes.begin(), bytes.end());
}

void put_number(Blob& out, FieldType type, std::uint64_t bits) {
  out.push_back(static_cast<std::uint8_t>(type));
  put(out, 8, 4);
  put(out, bits, 8);
}

void put_value(Blob& out, const sqlite::Value& value) {
  if (const auto* integer = std::get_if<std::int64_t>(&value))
    put_number(out, FieldType::integer, static_cast<std::uint64_t>(*integer));
  else if (const auto* real = std::get_if<double>(&value); real && !std::isnan(*real))
    put_number(out, FieldType::real, std::bit_cast<std::uint64_t>(*real + 0.0));  // -0 is stored, and encoded, as 0
  else if (const auto* text = std::get_if<std::string>(&value))
    put_field(out, FieldType::text, as_bytes(*text));
  else if (const auto* blob = std::get_if<Blob>(&value))
    put_field(out, FieldType::blob, *blob);
  else
    put_field(out, FieldType::null, {});  // NaN is stored, and encoded, as null
}

}  // namespace

std::span<const TableFormat> all_formats() { return kFormats; }

const TableFormat& current_format(Table table) { return kFormats[static_cast<std::size_t>(table)]; }

const TableFormat* find_format(std::string_view kind, std::int64_t number) {
  for (const TableFormat& format : kFormats)
    if (format.kind == kind && format.number == number) return &format;
  return nullptr;
}

std::string select_columns(const TableFormat& format) {
  std::string sql = "SELECT ";
  for (const std::string_view column : format.columns) {
    if (column != format.columns.front()) sql += ", ";
    sql += column;
  }
  return sql.append(" FROM ").append(format.kind);
}

Blob encode_row(const TableFormat& format, const sqlite::Row& row) {
  assert(row.size() == format.columns.size());
  Blob out;
  out.reserve(256);
  put(out, format.number, 2);
  put_field(out, FieldType::text, as_bytes(format.kind));
  put(out, row.size(), 2);
  for (const sqlite::Value& value : row) put_value(out, value);
  return out;
}

Digest chain(std::span<const std::uint8_t> previous, const LedgerEntry& entry) {
  Blob out;
  out.reserve(128);
  put_field(out, FieldType::text, as_bytes(entry.kind));
  put_number(out, FieldType::integer, static_cast<std::uint64_t>(entry.format));
  put_number(out, FieldType::integer, static_cast<std::uint64_t>(entry.row));
  put_value(out, entry.run ? sqlite::Value{*entry.run} : sqlite::Value{});
  put_field(out, FieldType::blob, entry.row_digest);
  return sha256(previous, out);
}

}  // namespace rig
