#include "rig/store/store_reader.hpp"

#include <fmt/format.h>

#include <charconv>
#include <filesystem>
#include <optional>

#include "rig/store/rows.hpp"
#include "rig/store/schema.hpp"
#include "rig/store/table_format.hpp"
#include "rig/store/trace_codec.hpp"

namespace rig {
namespace {

using sqlite::Statement;

constexpr std::size_t kShortestPrefix = 4;

std::string select(Table table, std::string_view rest) {
  return select_columns(current_format(table)).append(" ").append(rest);
}

std::string existing(std::string path) {
  std::error_code error;
  if (!std::filesystem::exists(path, error))
    throw StoreError{StoreError::Kind::not_found, path, "there is no such store",
                     "Name one that exists, or run a unit first"};
  return path;
}

std::optional<RunNumber> whole_number(std::string_view text) {
  RunNumber number = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), number);
  if (error != std::errc{} || end != text.data() + text.size()) return std::nullopt;
  return number;
}

}  // namespace

class StoreReader::Queries {
 public:
  Queries(std::string path, const std::string& vfs) : connection_{existing(std::move(path)), sqlite::Mode::read, vfs} {
    check_schema(connection_);
  }

  template <class Record, class... Keys>
  std::vector<Record> all(const std::string& sql, Record (*from)(const sqlite::Row&), const Keys&... keys) {
    Statement statement{connection_, sql};
    statement.with(keys...);
    std::vector<Record> records;
    while (statement.step()) records.push_back(from(statement.row()));
    return records;
  }

  template <class... Keys>
  std::vector<StoredRun> runs(std::string_view rest, const Keys&... keys) {
    auto found = all(select(Table::run_opened, rest), run_from, keys...);
    for (StoredRun& run : found) {
      run.opened.inputs = all(select(Table::run_input, "WHERE run = ? ORDER BY id"), input_from, run.number);
      run.opened.judges = all(select(Table::run_judge, "WHERE run = ? ORDER BY id"), judge_from, run.number);
      for (RunClosed& closed : all(select(Table::run_closed, "WHERE id = ?"), closed_from, run.number))
        run.closed = std::move(closed);
      run.reseats = reseats(run);
    }
    return found;
  }

  std::int64_t reseats(const StoredRun& run) {
    Statement statement{connection_,
                        "SELECT count(*) FROM run_opened JOIN run_closed ON run_closed.id = run_opened.id WHERE serial "
                        "= ? AND run_opened.id <= ? AND ended = 'reseat'"};
    return statement.with(run.opened.serial, run.number).step() ? statement.integer(0) : 0;
  }

  Blob payload(const TraceRow& row) {
    Statement statement{connection_, "SELECT content FROM trace_payload WHERE sha256 = ?"};
    if (!statement.with(row.sha256).step()) no_payload(row);
    const auto bytes = statement.blob(0);
    return {bytes.begin(), bytes.end()};
  }

  sqlite::Connection& connection() { return connection_; }

 private:
  std::string place(const TraceRow& row) const {
    return fmt::format("{}: run {}, step '{}', trace {}", connection_.path(), row.run, row.step, row.track);
  }

  [[noreturn]] void no_payload(const TraceRow& row) {
    Statement released{connection_,
                       "SELECT policy, who, released_at FROM payload_released WHERE sha256 = ? ORDER BY id DESC"};
    if (released.with(row.sha256).step())
      throw StoreError{
          StoreError::Kind::not_found, place(row),
          fmt::format("its bytes were released on {} by {} ({})", released.text(2), released.text(1), released.text(0)),
          "Findings and verdict are still there; the step cannot be judged again"};
    throw StoreError{StoreError::Kind::damaged, place(row), "its bytes are missing, and nobody released them",
                     "Run verify on the store, and restore the last backup"};
  }

  sqlite::Connection connection_;
};

StoreReader::StoreReader(std::string path, const std::string& vfs)
    : queries_{std::make_unique<Queries>(std::move(path), vfs)} {}
StoreReader::~StoreReader() = default;
StoreReader::StoreReader(StoreReader&&) noexcept = default;
StoreReader& StoreReader::operator=(StoreReader&&) noexcept = default;

std::vector<StoredRun> StoreReader::list_runs(const RunFilter& filter) const {
  const std::string verdict = filter.verdict ? std::string{to_text(*filter.verdict)} : std::string{};
  return queries_->runs(
      "WHERE (?1 = 0 OR serial = ?2) AND (?3 = '' OR EXISTS (SELECT 1 FROM run_closed WHERE run_closed.id = "
      "run_opened.id AND "
      "verdict = ?3 AND (ended = 'reseat') = ?7)) AND (?5 = '' OR bench = ?5) AND (?6 = '' OR purpose = ?6) ORDER BY "
      "id DESC LIMIT ?4",
      filter.serial ? 1 : 0, filter.serial.value_or(""), verdict, filter.limit, filter.bench.value_or(""),
      filter.purpose.value_or(""), filter.reseated ? 1 : 0);
}

RunNumber StoreReader::find_run(std::string_view text) const {
  const std::string& store = queries_->connection().path();
  if (const auto number = whole_number(text)) {
    Statement statement{queries_->connection(), "SELECT id FROM run_opened WHERE id = ?"};
    if (statement.with(*number).step()) return *number;
  }
  std::vector<RunNumber> found;
  if (text.size() >= kShortestPrefix) {
    Statement statement{queries_->connection(),
                        "SELECT id FROM run_opened WHERE substr(uuid, 1, ?1) = lower(?2) LIMIT 2"};
    statement.with(text.size(), text);
    while (statement.step()) found.push_back(statement.integer(0));
  }
  if (found.size() == 1) return found.front();
  if (found.empty())
    throw StoreError{StoreError::Kind::not_found, store, fmt::format("there is no run '{}'", text),
                     "Give a run's number, or at least the first four characters of its id; `list` shows them"};
  throw StoreError{StoreError::Kind::ambiguous, store, fmt::format("more than one run's id begins with '{}'", text),
                   "Give more of the id, or the run's number; `list` shows them"};
}

StoredRun StoreReader::load_run(RunNumber run) const {
  auto found = queries_->runs("WHERE id = ?", run);
  if (found.empty())
    throw StoreError{StoreError::Kind::not_found, queries_->connection().path(), fmt::format("there is no run {}", run),
                     "`list` shows those there are"};
  return std::move(found.front());
}

std::vector<StoredFinding> StoreReader::findings(RunNumber run) const {
  return queries_->all(select(Table::finding, "WHERE run = ? ORDER BY id"), finding_from, run);
}

std::vector<RunInput> StoreReader::inputs(RunNumber run) const {
  auto inputs = queries_->all(select(Table::run_input, "WHERE run = ? ORDER BY id"), input_from, run);
  for (RunInput& input : inputs) {
    Statement content{queries_->connection(), "SELECT content FROM input_file WHERE sha256 = ?"};
    if (content.with(input.sha256).step()) {
      const auto bytes = content.blob(0);
      input.bytes.assign(bytes.begin(), bytes.end());
    }
    if (to_hex(sha256(as_bytes(input.bytes))) != input.sha256)
      throw StoreError{
          StoreError::Kind::damaged, queries_->connection().path(),
          fmt::format("the {} of run {} ({}) is not what the run was made from", input.role, run, input.path),
          "Run verify on the store, and restore the last backup"};
  }
  return inputs;
}

std::vector<RunEvent> StoreReader::events(RunNumber run) const {
  return queries_->all(select(Table::run_event, "WHERE run = ? ORDER BY id"), event_from, run);
}

std::vector<TraceRow> StoreReader::traces(RunNumber run) const {
  return queries_->all(select(Table::trace, "WHERE run = ? ORDER BY id"), trace_from, run);
}

std::vector<std::string> StoreReader::traced_steps(RunNumber run) const {
  Statement statement{queries_->connection(), "SELECT step FROM trace WHERE run = ? GROUP BY step ORDER BY min(id)"};
  statement.with(run);
  std::vector<std::string> steps;
  while (statement.step()) steps.push_back(statement.text(0));
  return steps;
}

StepTrace StoreReader::load_step_trace(RunNumber run, std::string_view step) const {
  const auto rows =
      queries_->all(select(Table::trace, "WHERE run = ? AND step = ? ORDER BY part, track"), trace_from, run, step);
  if (rows.empty())
    throw StoreError{StoreError::Kind::not_found, queries_->connection().path(),
                     fmt::format("run {} has no recording of a step '{}'", run, step), "`show` lists its steps"};
  StepTrace whole;
  for (std::size_t from = 0; from < rows.size();) {
    std::vector<EncodedTrace> part;
    for (; from < rows.size() && (part.empty() || rows[from].part == part.front().row.part); ++from)
      part.push_back({rows[from], queries_->payload(rows[from])});
    StepTrace decoded = decode_trace(part);
    if (part.front().row.part == 0) {
      whole = std::move(decoded);
      continue;
    }
    if (decoded.tracks != whole.tracks)
      throw StoreError{StoreError::Kind::damaged, queries_->connection().path(),
                       fmt::format("the parts of run {}, step '{}', do not fit together", run, step),
                       "Run verify on the store"};
    std::ranges::move(decoded.slices, std::back_inserter(whole.slices));
  }
  return whole;
}

std::vector<StoredRun> StoreReader::attempts_of(std::string_view serial) const {
  return queries_->runs("WHERE serial = ? AND purpose <> 'bench' ORDER BY id", serial);
}

std::optional<StoredRun> StoreReader::birth_record(std::string_view serial) const {
  auto found = queries_->runs(
      "WHERE serial = ? AND purpose = 'end_of_line' AND EXISTS (SELECT 1 FROM run_closed WHERE run_closed.id = "
      "run_opened.id AND "
      "verdict = 'pass') ORDER BY id LIMIT 1",
      serial);
  if (found.empty()) return std::nullopt;
  return std::move(found.front());
}

std::vector<RunNumber> StoreReader::runs_on(std::string_view bench, std::string_view since_action) const {
  Statement statement{
      queries_->connection(),
      "SELECT run_opened.id FROM run_opened JOIN ledger ON ledger.kind = 'run_opened' AND ledger.row = run_opened.id "
      "WHERE bench = ?1 AND ledger.id > ifnull((SELECT max(entry.id) FROM audit_entry JOIN ledger entry ON entry.kind "
      "= 'audit_entry' AND entry.row = audit_entry.id WHERE subject = ?1 AND action = ?2), 0) ORDER BY run_opened.id"};
  statement.with(bench, since_action);
  std::vector<RunNumber> runs;
  while (statement.step()) runs.push_back(statement.integer(0));
  return runs;
}

std::vector<AuditEntry> StoreReader::audits(std::string_view action, std::string_view subject) const {
  return queries_->all(select(Table::audit_entry, "WHERE action = ? AND subject = ? ORDER BY id DESC"), audit_from,
                       action, subject);
}

}  // namespace rig
