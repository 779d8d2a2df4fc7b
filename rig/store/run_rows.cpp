#include "rig/store/run_rows.hpp"

#include <unistd.h>

#include <fstream>

#include "rig/store/rows.hpp"
#include "rig/store/trace_codec.hpp"

namespace rig {
namespace {

using sqlite::Statement;

void fill(WallTime& time) {
  if (time == WallTime{}) time = wall_time_now();
}

std::string host_name() {
  char name[256] = {};
  return gethostname(name, sizeof name - 1) == 0 ? name : "";
}

std::string boot_id() {  // tells runs before a restart of the host from runs after it
  std::ifstream file{"/proc/sys/kernel/random/boot_id"};
  std::string id;
  std::getline(file, id);
  return id;
}

bool exists(Ledger& ledger, const char* sql, const std::string& key) {
  Statement statement{ledger.connection(), sql};
  return statement.with(key).step();
}

void keep_input(Ledger& ledger, RunInput& input, RunNumber run) {
  input.sha256 = to_hex(sha256(as_bytes(input.bytes)));
  if (!exists(ledger, "SELECT 1 FROM input_file WHERE sha256 = ?", input.sha256))
    ledger.append(Table::input_file, {input.sha256, Blob(input.bytes.begin(), input.bytes.end())}, std::nullopt);
  ledger.append(Table::run_input, to_row(input, run), run);
}

FindingCounts count_findings(Ledger& ledger, RunNumber run) {
  FindingCounts counts;
  Statement statement{ledger.connection(), "SELECT verdict, count(*) FROM finding WHERE run = ? GROUP BY verdict"};
  statement.with(run);
  while (statement.step()) {
    const std::string verdict = statement.text(0);
    (verdict == "pass"        ? counts.pass
     : verdict == "fail"      ? counts.fail
     : verdict == "undecided" ? counts.undecided
                              : counts.void_) = statement.integer(1);
  }
  return counts;
}

}  // namespace

OpenedRun append_run(Ledger& ledger, RunOpened run) {
  fill(run.opened_at);
  if (run.host.empty()) run.host = host_name();
  if (run.boot.empty()) run.boot = boot_id();
  // A run about the stand itself says nothing of a serial that is for sale, whatever was fitted meanwhile.
  Statement attempts{ledger.connection(),
                     "SELECT count(*) FROM run_opened WHERE serial = ?1 AND (purpose = 'bench') = (?2 = 'bench')"};
  attempts.with(run.serial, run.purpose).step();
  run.attempt = attempts.integer(0) + 1;
  const std::string id = new_uuid(static_cast<std::uint64_t>(run.opened_at.time_since_epoch().count()));
  const RunNumber number = ledger.last_id(Table::run_opened) + 1;
  ledger.append(Table::run_opened, to_row(run, id), number, number);
  for (RunInput& input : run.inputs) keep_input(ledger, input, number);
  for (const JudgeVersion& judge : run.judges) ledger.append(Table::run_judge, to_row(judge, number), number);
  return {number, id, run.attempt};
}

void append_closed(Ledger& ledger, RunClosed closed) {
  fill(closed.closed_at);
  closed.counts = count_findings(ledger, closed.run);
  ledger.append(Table::run_closed, to_row(closed), closed.run, closed.run);
}

void append_trace(Ledger& ledger, RunNumber run, const StepTrace& trace) {
  for (EncodedTrace& encoded : encode_trace(trace)) {
    encoded.row.run = run;
    if (!exists(ledger, "SELECT 1 FROM trace_payload WHERE sha256 = ?", encoded.row.sha256))
      Statement{ledger.connection(), "INSERT INTO trace_payload (sha256, content) VALUES (?, ?)"}
          .with(encoded.row.sha256, std::span<const std::uint8_t>{encoded.payload})
          .run();
    ledger.append(Table::trace, to_row(encoded.row), run);
  }
}

void append_event(Ledger& ledger, RunEvent event) {
  fill(event.happened_at);
  ledger.append(Table::run_event, to_row(event), event.run);
}

void append_audit(Ledger& ledger, AuditEntry entry) {
  fill(entry.happened_at);
  ledger.append(Table::audit_entry, to_row(entry), std::nullopt);
}

std::string append_calibration(Ledger& ledger, const StoredCalibration& calibration) {
  std::string digest = to_hex(sha256(as_bytes(calibration.content)));
  if (!exists(ledger, "SELECT 1 FROM calibration WHERE sha256 = ?", digest))
    ledger.append(Table::calibration, to_row(calibration, digest), std::nullopt);
  return digest;
}

void append_release(Ledger& ledger, const PayloadRelease& release) {
  const std::string now = to_text(wall_time_now());
  for (const std::string& digest : release.sha256) {
    ledger.append(Table::payload_released, {digest, release.policy, release.who, now}, std::nullopt);
    Statement{ledger.connection(), "DELETE FROM trace_payload WHERE sha256 = ?"}.with(digest).run();
  }
}

std::vector<RunNumber> append_interrupted(Ledger& ledger, RunNumber last) {
  std::vector<RunNumber> numbers;
  {
    Statement open{
        ledger.connection(),
        "SELECT id FROM run_opened WHERE id <= ? AND NOT EXISTS (SELECT 1 FROM run_closed WHERE id = run_opened.id) "
        "ORDER BY id"};
    open.with(last);
    while (open.step()) numbers.push_back(open.integer(0));
  }
  for (const RunNumber number : numbers)
    append_closed(ledger,
                  {.run = number,
                   .verdict = Verdict::void_,
                   .reason = "the program ended before the run did (killed, or the power failed): the unit was not "
                             "judged. Run it again",
                   .end = RunEnd::interrupted,
                   .end_text = "found open at the next start",
                   .supply = {},
                   .counts = {}});
  return numbers;
}

}  // namespace rig
