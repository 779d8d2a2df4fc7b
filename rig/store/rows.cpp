#include "rig/store/rows.hpp"

#include <fmt/format.h>

#include <charconv>
#include <cmath>

#include "rig/store/store_error.hpp"

namespace rig {
namespace {

using sqlite::Row;
using sqlite::Value;

[[noreturn]] void damaged(std::string_view what) {
  throw StoreError{StoreError::Kind::damaged, "store", fmt::format("a row holds {}", what),
                   "Run verify on the store to see which, and restore the last backup"};
}

/// Reads a row's columns one after the other.
class Columns {
 public:
  explicit Columns(const Row& row) : row_{row} {}
  std::int64_t integer() { return of<std::int64_t>(); }
  std::string text() { return of<std::string>(); }
  Blob blob() { return of<Blob>(); }
  std::optional<double> real() { return optional_of<double>(); }
  std::optional<std::int64_t> optional_integer() { return optional_of<std::int64_t>(); }
  std::optional<std::string> optional_text() { return optional_of<std::string>(); }
  WallTime wall_time() {
    const auto time = wall_time_from_text(text());
    return time ? *time : (damaged("a time that is none"), WallTime{});
  }
  Verdict verdict() {
    const auto verdict = verdict_from_text(text());
    return verdict ? *verdict : (damaged("a verdict that is none"), Verdict::void_);
  }

 private:
  const Value& next() {
    if (at_ == row_.size()) damaged("too few columns");
    return row_[at_++];
  }
  template <class T>
  T of() {
    const T* value = std::get_if<T>(&next());
    if (!value) damaged("a value of another type");
    return *value;
  }
  template <class T>
  std::optional<T> optional_of() {
    const Value& value = next();
    if (std::holds_alternative<std::monostate>(value)) return std::nullopt;
    const T* found = std::get_if<T>(&value);
    if (!found) damaged("a value of another type");
    return *found;
  }
  const Row& row_;
  std::size_t at_ = 0;
};

Value real_or_null(std::optional<double> value) {
  if (!value || std::isnan(*value)) return {};
  return *value + 0.0;  // SQLite keeps no -0
}

template <class T>
Value or_null(const std::optional<T>& value) {
  return value ? Value{*value} : Value{};
}

std::string join_lines(const std::vector<std::string>& lines) {
  std::string text;
  for (const std::string& line : lines) text += line + "\n";
  return text;
}

std::vector<std::string> split_lines(const std::string& text) {
  std::vector<std::string> lines;
  for (std::size_t from = 0; from < text.size();) {
    const std::size_t end = std::min(text.find('\n', from), text.size());
    lines.push_back(text.substr(from, end - from));
    from = end + 1;
  }
  return lines;
}

std::uint64_t seed_from(const std::string& text) {
  std::uint64_t seed = 0;
  const auto [end, error] = std::from_chars(text.data(), text.data() + text.size(), seed);
  if (error != std::errc{} || end != text.data() + text.size()) damaged("a seed that is no number");
  return seed;
}

std::string text_of(std::string_view view) { return std::string{view}; }

}  // namespace

std::string_view to_text(RunEnd end) {
  switch (end) {
    case RunEnd::completed:
      return "completed";
    case RunEnd::stopped:
      return "stopped";
    case RunEnd::fault:
      return "fault";
    case RunEnd::interrupted:
      return "interrupted";
    case RunEnd::reseat:
      return "reseat";
  }
  return "interrupted";
}

std::optional<RunEnd> run_end_from_text(std::string_view text) {
  for (const RunEnd end : {RunEnd::completed, RunEnd::stopped, RunEnd::fault, RunEnd::interrupted, RunEnd::reseat})
    if (text == to_text(end)) return end;
  return std::nullopt;
}

std::string describe(const StoredRun& run) {
  return fmt::format("run {} (unit {}, attempt {})", run.number, run.opened.serial, run.opened.attempt);
}

Row to_row(const RunOpened& run, const std::string& uuid) {
  return {uuid,
          run.serial,
          run.attempt,
          run.product,
          run.scenario,
          run.bench,
          run.purpose,
          run.program,
          run.operator_name,
          run.host,
          run.boot,
          to_text(run.opened_at),
          join_lines(run.defects),
          run.seed ? Value{fmt::format("{}", *run.seed)} : Value{},
          or_null(run.calibration)};
}

Row to_row(const RunInput& input, RunNumber run) { return {run, input.role, input.path, input.sha256}; }

Row to_row(const JudgeVersion& judge, RunNumber run) { return {run, judge.step_kind, judge.version}; }

Row to_row(const Finding& finding, RunNumber run) {
  // Taken apart so that a field that is added to a finding fails to compile here, instead of being left out.
  const auto& [id, step, in, value, expected, low, high, uncertainty, margin, verdict, reason, segment] = finding;
  return {run,
          id,
          step,
          in,
          real_or_null(value),
          real_or_null(expected),
          real_or_null(low),
          real_or_null(high),
          real_or_null(uncertainty),
          real_or_null(margin),
          text_of(to_text(verdict)),
          reason,
          segment ? Value{std::int64_t{*segment}} : Value{}};
}

Row to_row(const TraceRow& trace) {
  return {trace.run,    trace.step,  std::int64_t{trace.part}, trace.track, trace.name, trace.info, trace.codec,
          trace.sha256, trace.length};
}

Row to_row(const RunEvent& event) {
  return {event.run,
          event.kind,
          event.text,
          event.who,
          event.at ? Value{std::int64_t{event.at->since_start().count()}} : Value{},
          to_text(event.happened_at)};
}

Row to_row(const RunClosed& closed) {
  return {text_of(to_text(closed.verdict)),
          closed.reason,
          text_of(to_text(closed.end)),
          closed.end_text,
          std::int64_t{closed.outputs_safe},
          closed.supply ? real_or_null(closed.supply->value()) : Value{},
          to_text(closed.closed_at),
          std::int64_t{closed.bench_duration.count()},
          std::int64_t{closed.host_duration.count()},
          closed.segments_repeated,
          closed.counts.pass,
          closed.counts.fail,
          closed.counts.undecided,
          closed.counts.void_};
}

Row to_row(const AuditEntry& entry) {
  return {entry.who, entry.action, entry.subject, entry.detail, to_text(entry.happened_at)};
}

Row to_row(const StoredCalibration& calibration, const std::string& digest) {
  return {digest,
          calibration.bench,
          calibration.made_by,
          calibration.certificate,
          to_text(calibration.made_at),
          Blob(calibration.content.begin(), calibration.content.end())};
}

StoredRun run_from(const Row& row) {
  Columns columns{row};
  StoredRun run;
  run.number = columns.integer();
  run.id = columns.text();
  run.opened.serial = columns.text();
  run.opened.attempt = columns.integer();
  run.opened.product = columns.text();
  run.opened.scenario = columns.text();
  run.opened.bench = columns.text();
  run.opened.purpose = columns.text();
  run.opened.program = columns.text();
  run.opened.operator_name = columns.text();
  run.opened.host = columns.text();
  run.opened.boot = columns.text();
  run.opened.opened_at = columns.wall_time();
  run.opened.defects = split_lines(columns.text());
  if (const auto seed = columns.optional_text()) run.opened.seed = seed_from(*seed);
  run.opened.calibration = columns.optional_text();
  return run;
}

RunInput input_from(const Row& row) {
  Columns columns{row};
  columns.integer(), columns.integer();
  RunInput input;
  input.role = columns.text();
  input.path = columns.text();
  input.sha256 = columns.text();
  return input;
}

JudgeVersion judge_from(const Row& row) {
  Columns columns{row};
  columns.integer(), columns.integer();
  JudgeVersion judge;
  judge.step_kind = columns.text();
  judge.version = columns.integer();
  return judge;
}

StoredFinding finding_from(const Row& row) {
  Columns columns{row};
  StoredFinding stored;
  Finding& finding = stored.finding;
  stored.id = columns.integer();
  stored.run = columns.integer();
  finding.id = columns.text();
  finding.step = columns.text();
  finding.in = columns.text();
  finding.value = columns.real().value_or(std::nan(""));
  finding.expected = columns.real();
  finding.low = columns.real();
  finding.high = columns.real();
  finding.uncertainty = columns.real().value_or(std::nan(""));
  finding.margin = columns.real();
  finding.verdict = columns.verdict();
  finding.reason = columns.text();
  if (const auto segment = columns.optional_integer()) finding.segment = static_cast<std::uint32_t>(*segment);
  return stored;
}

TraceRow trace_from(const Row& row) {
  Columns columns{row};
  TraceRow trace;
  trace.id = columns.integer();
  trace.run = columns.integer();
  trace.step = columns.text();
  trace.part = static_cast<std::uint32_t>(columns.integer());
  trace.track = columns.integer();
  trace.name = columns.text();
  trace.info = columns.blob();
  trace.codec = columns.integer();
  trace.sha256 = columns.text();
  trace.length = columns.integer();
  return trace;
}

RunEvent event_from(const Row& row) {
  Columns columns{row};
  RunEvent event;
  columns.integer();
  event.run = columns.integer();
  event.kind = columns.text();
  event.text = columns.text();
  event.who = columns.text();
  if (const auto at = columns.optional_integer()) event.at = BenchTime{Nanoseconds{*at}};
  event.happened_at = columns.wall_time();
  return event;
}

AuditEntry audit_from(const Row& row) {
  Columns columns{row};
  AuditEntry entry;
  columns.integer();
  entry.who = columns.text();
  entry.action = columns.text();
  entry.subject = columns.text();
  entry.detail = columns.text();
  entry.happened_at = columns.wall_time();
  return entry;
}

RunClosed closed_from(const Row& row) {
  Columns columns{row};
  RunClosed closed;
  closed.run = columns.integer();
  closed.verdict = columns.verdict();
  closed.reason = columns.text();
  const auto end = run_end_from_text(columns.text());
  if (!end) damaged("an end that is none");
  closed.end = *end;
  closed.end_text = columns.text();
  closed.outputs_safe = columns.integer() != 0;
  if (const auto supply = columns.real()) closed.supply = Volts{*supply};
  closed.closed_at = columns.wall_time();
  closed.bench_duration = Nanoseconds{columns.integer()};
  closed.host_duration = Nanoseconds{columns.integer()};
  closed.segments_repeated = columns.integer();
  closed.counts.pass = columns.integer();
  closed.counts.fail = columns.integer();
  closed.counts.undecided = columns.integer();
  closed.counts.void_ = columns.integer();
  return closed;
}

}  // namespace rig
