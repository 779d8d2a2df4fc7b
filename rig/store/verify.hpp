#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/store/records.hpp"

namespace rig {

/// One thing that is not as it was written.
struct LedgerFinding {
  enum class Kind {
    altered_row,       ///< a row's content is not what was chained
    missing_row,       ///< a chained row, or a stretch of the ledger, is gone
    reordered,         ///< the ledger's rows are all there but not in the order they were committed
    altered_ledger,    ///< the ledger's own row was changed
    unchained_row,     ///< a row that no ledger row stands for: it was put in from outside
    altered_payload,   ///< trace bytes are not those that were recorded
    missing_payload,   ///< trace bytes are gone and nobody said so
    released_payload,  ///< trace bytes were given up by a stated policy: no fault
    altered_schema,    ///< a table or a guard (trigger) is not as the program made it
    damaged_file,      ///< SQLite itself finds the file damaged
  } kind;
  std::string table;
  std::int64_t row = 0;  ///< id in the table, or sequence number for the ledger; 0 when neither
  std::optional<RunNumber> run;
  std::string text;  ///< what and where, in words
};
std::string_view to_text(LedgerFinding::Kind kind);

struct VerifyReport {
  std::vector<LedgerFinding> findings;  ///< at most kMostFindings
  bool more = false;                    ///< there were more than are listed
  std::int64_t rows = 0;                ///< in the ledger
  std::int64_t payloads = 0;            ///< whose bytes were hashed
  std::string head;                     ///< digest of the last ledger row, hexadecimal; the anchor to keep elsewhere
  static constexpr std::size_t kMostFindings = 1000;
  bool sound() const;  ///< nothing but releases
  /// What the walk cannot know: a removed tail or a wholly recomputed chain shows only against a head kept elsewhere.
  std::string advice() const;
};

struct VerifyOptions {
  bool payloads = true;                   ///< hash the trace bytes too
  std::optional<std::string> known_head;  ///< a head digest that was noted earlier: it must still be in the ledger
};

/// Walks the ledger: recomputes the digest of every row and every link. Throws StoreError when the file cannot be read
/// at all.
VerifyReport verify_store(const std::string& path, const VerifyOptions& options = {});

}  // namespace rig
