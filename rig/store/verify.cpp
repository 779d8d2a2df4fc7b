#include "rig/store/verify.hpp"

#include <fmt/format.h>

#include <algorithm>
#include <map>
#include <memory>

#include "rig/store/schema.hpp"
#include "rig/store/store_error.hpp"
#include "rig/store/table_format.hpp"

namespace rig {
namespace {

using sqlite::Statement;
using Kind = LedgerFinding::Kind;

/// A ledger row as it stands in the file.
struct LedgerRow {
  std::int64_t sequence = 0;
  Blob previous, digest;
  std::string kind;
  LedgerEntry entry;
  Blob row_digest;
};

LedgerRow ledger_row(const Statement& statement) {
  const auto bytes = [&](int column) {
    const auto view = statement.blob(column);
    return Blob(view.begin(), view.end());
  };
  LedgerRow row{.sequence = statement.integer(0),
                .previous = bytes(1),
                .digest = bytes(7),
                .kind = statement.text(2),
                .entry = {},
                .row_digest = bytes(6)};
  row.entry.format = statement.integer(3);
  row.entry.row = statement.integer(4);
  if (!statement.is_null(5)) row.entry.run = statement.integer(5);
  std::copy_n(row.row_digest.begin(), std::min(row.row_digest.size(), row.entry.row_digest.size()),
              row.entry.row_digest.begin());
  return row;
}

class Walk {
 public:
  Walk(const std::string& path, const VerifyOptions& options)
      : options_{options}, connection_{path, sqlite::Mode::read} {
    version_ = check_schema(connection_);
    connection_.execute("BEGIN");  // one moment of the store, also while it is being written
  }

  VerifyReport run() {
    try {
      check_file();
      check_schema_objects();
      check_ledger();
      check_unchained();
      check_payloads();
      check_known_head();
    } catch (const StoreError& error) {
      if (error.kind() != StoreError::Kind::damaged && error.kind() != StoreError::Kind::io) throw;
      add({Kind::damaged_file, "", 0, {}, fmt::format("the walk ended early: {}", error.what())});
    }
    return std::move(report_);
  }

 private:
  void add(LedgerFinding finding) {
    if (report_.findings.size() < VerifyReport::kMostFindings)
      report_.findings.push_back(std::move(finding));
    else
      report_.more = true;
  }

  void check_file() {
    Statement check{connection_, "PRAGMA integrity_check(20)"};
    while (check.step())
      if (check.text(0) != "ok")
        add({Kind::damaged_file, "", 0, {}, fmt::format("the file is damaged: {}", check.text(0))});
  }

  static std::map<std::string, std::string> objects(sqlite::Connection& connection) {
    std::map<std::string, std::string> found;
    Statement all{
        connection,
        "SELECT type || ' ' || name, ifnull(sql, '') FROM sqlite_schema WHERE name NOT LIKE 'sqlite\\_%' ESCAPE '\\'"};
    while (all.step()) found[all.text(0)] = all.text(1);
    return found;
  }

  void check_schema_objects() {
    sqlite::Connection fresh{":memory:", sqlite::Mode::write};
    create_schema(fresh, version_);
    const auto expected = objects(fresh), found = objects(connection_);
    for (const auto& [name, sql] : expected) {
      const auto it = found.find(name);
      if (it == found.end())
        add({Kind::altered_schema, "sqlite_schema", 0, {}, fmt::format("{} is gone", name)});
      else if (it->second != sql)
        add({Kind::altered_schema, "sqlite_schema", 0, {}, fmt::format("{} was changed", name)});
    }
    for (const auto& [name, sql] : found)
      if (!expected.contains(name))
        add({Kind::altered_schema, "sqlite_schema", 0, {}, fmt::format("{} was added", name)});
  }

  void check_ledger() {
    Statement all{connection_,
                  "SELECT id, previous, kind, format, row, run, row_digest, digest FROM ledger ORDER BY id"};
    LedgerRow before;
    before.previous = before.digest = Blob(kFirstPrevious.begin(), kFirstPrevious.end());
    Digest before_recomputed = kFirstPrevious;
    while (all.step()) {
      LedgerRow row = ledger_row(all);
      row.entry.kind = row.kind;
      ++report_.rows;
      check_link(row, before, before_recomputed);
      const Digest recomputed = chain(row.previous, row.entry);
      if (!std::ranges::equal(recomputed, row.digest))
        add({Kind::altered_ledger, "ledger", row.sequence, row.entry.run,
             fmt::format("ledger row {} (for {} {}) was changed", row.sequence, row.kind, row.entry.row)});
      check_row(row);
      before = std::move(row);
      before_recomputed = recomputed;
    }
    report_.head = to_hex(before.digest);
  }

  void check_link(const LedgerRow& row, const LedgerRow& before, const Digest& before_recomputed) {
    if (row.sequence != before.sequence + 1) {
      add({Kind::missing_row,
           "ledger",
           before.sequence + 1,
           {},
           fmt::format("ledger rows {} to {} are gone", before.sequence + 1, row.sequence - 1)});
      return;
    }
    if (row.previous == before.digest || std::ranges::equal(row.previous, before_recomputed)) return;
    Statement elsewhere{connection_, "SELECT id FROM ledger WHERE digest = ?"};
    const bool first = std::ranges::equal(row.previous, kFirstPrevious);
    if (first || elsewhere.with(std::span<const std::uint8_t>{row.previous}).step())
      add({Kind::reordered, "ledger", row.sequence, row.entry.run,
           fmt::format("ledger row {} was committed after {}, not after row {}", row.sequence,
                       first ? "nothing" : fmt::format("row {}", elsewhere.integer(0)), before.sequence)});
    else
      add({Kind::missing_row, "ledger", row.sequence, row.entry.run,
           fmt::format("what was committed before ledger row {} is gone", row.sequence)});
  }

  void check_row(const LedgerRow& row) {
    const TableFormat* format = find_format(row.kind, row.entry.format);
    if (!format) {
      add({Kind::altered_ledger, "ledger", row.sequence, row.entry.run,
           fmt::format("ledger row {} is of a kind this program does not know ('{}', format {})", row.sequence,
                       row.kind, row.entry.format)});
      return;
    }
    auto& select = selects_[format];
    if (!select) select = std::make_unique<Statement>(connection_, select_columns(*format) + " WHERE id = ?");
    if (!select->with(row.entry.row).step())
      add({Kind::missing_row, row.kind, row.entry.row, row.entry.run,
           fmt::format("{} {} is gone{}", row.kind, row.entry.row, of_run(row.entry.run))});
    else if (!std::ranges::equal(sha256(encode_row(*format, select->row())), row.row_digest))
      add({Kind::altered_row, row.kind, row.entry.row, row.entry.run,
           fmt::format("{} {} was changed{}", row.kind, row.entry.row, of_run(row.entry.run))});
  }

  static std::string of_run(const std::optional<RunNumber>& run) {
    return run ? fmt::format(" (run {})", *run) : std::string{};
  }

  void check_unchained() {
    for (const TableFormat& any : all_formats()) {
      if (&any != &current_format(any.table)) continue;
      Statement rows{connection_,
                     fmt::format("SELECT id FROM {0} WHERE NOT EXISTS (SELECT 1 FROM ledger WHERE kind = '{0}' AND "
                                 "row = {0}.id)",
                                 any.kind)};
      while (rows.step())
        add({Kind::unchained_row,
             std::string{any.kind},
             rows.integer(0),
             {},
             fmt::format("{} {} is in no ledger row: it was put in from outside, or its ledger row was removed",
                         any.kind, rows.integer(0))});
    }
    Statement payloads{connection_,
                       "SELECT sha256 FROM trace_payload WHERE NOT EXISTS (SELECT 1 FROM trace WHERE trace.sha256 = "
                       "trace_payload.sha256)"};
    while (payloads.step())
      add({Kind::unchained_row,
           "trace_payload",
           0,
           {},
           fmt::format("trace bytes {} belong to no trace", payloads.text(0))});
  }

  void check_payloads() {
    if (!options_.payloads) return;
    Statement all{connection_,
                  "SELECT t.sha256, min(t.id), min(t.run), min(t.step), (SELECT rowid FROM trace_payload p WHERE "
                  "p.sha256 = t.sha256), "
                  "EXISTS (SELECT 1 FROM payload_released r WHERE r.sha256 = t.sha256) FROM trace t GROUP BY t.sha256"};
    Statement content{connection_, "SELECT content FROM trace_payload WHERE rowid = ?"};
    while (all.step()) {
      const std::string digest = all.text(0);
      const auto about = [&](Kind kind, std::string_view what) {
        add({kind, "trace_payload", all.integer(1), all.integer(2),
             fmt::format("bytes of trace {} (run {}, step '{}') {}", all.integer(1), all.integer(2), all.text(3),
                         what)});
      };
      if (all.is_null(4)) {
        if (all.integer(5) != 0)
          about(Kind::released_payload, "were released, as the ledger says");
        else
          about(Kind::missing_payload, "are missing, and nobody released them");
        continue;
      }
      ++report_.payloads;
      if (!content.with(all.integer(4)).step() || to_hex(sha256(content.blob(0))) != digest)
        about(Kind::altered_payload, "are not those that were recorded");
    }
  }

  void check_known_head() {
    if (!options_.known_head) return;
    Statement found{connection_, "SELECT 1 FROM ledger WHERE lower(hex(digest)) = lower(?)"};
    if (!found.with(*options_.known_head).step())
      add({Kind::missing_row,
           "ledger",
           0,
           {},
           fmt::format("the head {} that was noted earlier is not in this ledger: its tail was removed, or the chain "
                       "was made anew",
                       *options_.known_head)});
  }

  const VerifyOptions options_;
  std::int64_t version_ = kSchemaVersion;
  sqlite::Connection connection_;
  std::map<const TableFormat*, std::unique_ptr<Statement>> selects_;
  VerifyReport report_;
};

}  // namespace

std::string_view to_text(LedgerFinding::Kind kind) {
  switch (kind) {
    case Kind::altered_row:
      return "altered_row";
    case Kind::missing_row:
      return "missing_row";
    case Kind::reordered:
      return "reordered";
    case Kind::altered_ledger:
      return "altered_ledger";
    case Kind::unchained_row:
      return "unchained_row";
    case Kind::altered_payload:
      return "altered_payload";
    case Kind::missing_payload:
      return "missing_payload";
    case Kind::released_payload:
      return "released_payload";
    case Kind::altered_schema:
      return "altered_schema";
    case Kind::damaged_file:
      return "damaged_file";
  }
  return "damaged_file";
}

bool VerifyReport::sound() const {
  return !more &&
         std::ranges::all_of(findings, [](const LedgerFinding& f) { return f.kind == Kind::released_payload; });
}

std::string VerifyReport::advice() const {
  return fmt::format(
      "A removed tail, or a chain that was made anew as a whole, shows only against an anchor outside this file (a "
      "signed "
      "head, a certificate, an archive). Head of {} rows: {}. Note it elsewhere.",
      rows, head);
}

VerifyReport verify_store(const std::string& path, const VerifyOptions& options) { return Walk{path, options}.run(); }

}  // namespace rig
