#include "rig/store/schema.hpp"

/// Step 1 of the schema. An applied step is never edited: its SHA-256 is kept in every store that it made.
namespace rig {

extern const char* const kSchemaStep1;  // read by schema.cpp
const char* const kSchemaStep1 = R"sql(
CREATE TABLE input_file (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
  content BLOB NOT NULL
) STRICT;
CREATE TABLE calibration (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL UNIQUE CHECK (length(sha256) = 64),
  bench TEXT NOT NULL CHECK (bench <> ''),
  made_by TEXT NOT NULL,
  certificate TEXT NOT NULL,
  made_at TEXT NOT NULL,
  content BLOB NOT NULL
) STRICT;
CREATE TABLE run_opened (
  id INTEGER PRIMARY KEY,
  uuid TEXT NOT NULL UNIQUE CHECK (length(uuid) = 36),
  serial TEXT NOT NULL CHECK (serial <> ''),
  attempt INTEGER NOT NULL CHECK (attempt >= 1),
  product TEXT NOT NULL,
  scenario TEXT NOT NULL,
  bench TEXT NOT NULL,
  purpose TEXT NOT NULL CHECK (purpose <> ''),
  program TEXT NOT NULL,
  operator TEXT NOT NULL,
  host TEXT NOT NULL,
  boot TEXT NOT NULL,
  opened_at TEXT NOT NULL,
  defects TEXT NOT NULL,
  seed TEXT,
  calibration TEXT REFERENCES calibration (sha256)
) STRICT;
CREATE TABLE run_input (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES run_opened (id),
  role TEXT NOT NULL CHECK (role <> ''),
  path TEXT NOT NULL,
  sha256 TEXT NOT NULL REFERENCES input_file (sha256)
) STRICT;
CREATE TABLE run_judge (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES run_opened (id),
  step_kind TEXT NOT NULL CHECK (step_kind <> ''),
  version INTEGER NOT NULL CHECK (version >= 0)
) STRICT;
CREATE TABLE finding (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES run_opened (id),
  characteristic TEXT NOT NULL CHECK (characteristic <> ''),
  step TEXT NOT NULL CHECK (step <> ''),
  unit TEXT NOT NULL,
  value REAL,
  expected REAL,
  low REAL,
  high REAL,
  uncertainty REAL,
  margin REAL,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided', 'void')),
  reason TEXT NOT NULL,
  segment INTEGER CHECK (segment BETWEEN 0 AND 4294967295),
  CHECK (verdict <> 'pass' OR value IS NOT NULL)
) STRICT;
CREATE TABLE trace (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES run_opened (id),
  step TEXT NOT NULL CHECK (step <> ''),
  part INTEGER NOT NULL CHECK (part >= 0),
  track INTEGER NOT NULL CHECK (track >= -1),
  name TEXT NOT NULL,
  info BLOB NOT NULL,
  codec INTEGER NOT NULL CHECK (codec >= 1),
  sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
  length INTEGER NOT NULL CHECK (length >= 0)
) STRICT;
CREATE TABLE run_event (
  id INTEGER PRIMARY KEY,
  run INTEGER NOT NULL REFERENCES run_opened (id),
  kind TEXT NOT NULL CHECK (kind <> ''),
  text TEXT NOT NULL,
  who TEXT NOT NULL,
  at_ns INTEGER,
  happened_at TEXT NOT NULL
) STRICT;
CREATE TABLE run_closed (
  id INTEGER PRIMARY KEY,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided', 'void')),
  reason TEXT NOT NULL,
  ended TEXT NOT NULL CHECK (ended IN ('completed', 'stopped', 'fault', 'interrupted')),
  end_text TEXT NOT NULL,
  outputs_safe INTEGER NOT NULL CHECK (outputs_safe IN (0, 1)),
  supply_v REAL,
  closed_at TEXT NOT NULL,
  bench_duration_ns INTEGER NOT NULL CHECK (bench_duration_ns >= 0),
  host_duration_ns INTEGER NOT NULL CHECK (host_duration_ns >= 0),
  segments_repeated INTEGER NOT NULL CHECK (segments_repeated >= 0),
  passed INTEGER NOT NULL CHECK (passed >= 0),
  failed INTEGER NOT NULL CHECK (failed >= 0),
  undecided INTEGER NOT NULL CHECK (undecided >= 0),
  voided INTEGER NOT NULL CHECK (voided >= 0),
  FOREIGN KEY (id) REFERENCES run_opened (id)
) STRICT;
CREATE TABLE payload_released (
  id INTEGER PRIMARY KEY,
  sha256 TEXT NOT NULL CHECK (length(sha256) = 64),
  policy TEXT NOT NULL CHECK (policy <> ''),
  who TEXT NOT NULL CHECK (who <> ''),
  released_at TEXT NOT NULL
) STRICT;
CREATE TABLE audit_entry (
  id INTEGER PRIMARY KEY,
  who TEXT NOT NULL CHECK (who <> ''),
  action TEXT NOT NULL CHECK (action <> ''),
  subject TEXT NOT NULL,
  detail TEXT NOT NULL,
  happened_at TEXT NOT NULL
) STRICT;
CREATE TABLE ledger (
  id INTEGER PRIMARY KEY,
  previous BLOB NOT NULL CHECK (length(previous) = 32),
  kind TEXT NOT NULL,
  format INTEGER NOT NULL CHECK (format >= 1),
  row INTEGER NOT NULL,
  run INTEGER,
  row_digest BLOB NOT NULL CHECK (length(row_digest) = 32),
  digest BLOB NOT NULL UNIQUE CHECK (length(digest) = 32),
  UNIQUE (kind, row)
) STRICT;
CREATE TABLE trace_payload (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  content BLOB NOT NULL
) STRICT;
CREATE INDEX run_opened_by_serial ON run_opened (serial);
CREATE INDEX run_input_by_run ON run_input (run);
CREATE INDEX run_judge_by_run ON run_judge (run);
CREATE INDEX finding_by_run ON finding (run);
CREATE INDEX trace_by_run ON trace (run);
CREATE INDEX trace_by_payload ON trace (sha256);
CREATE INDEX run_event_by_run ON run_event (run);
CREATE INDEX payload_released_by_payload ON payload_released (sha256);
)sql"
                                 R"sql(
-- Rows are only ever added.
CREATE TRIGGER input_file_keeps_rows BEFORE UPDATE ON input_file BEGIN
  SELECT RAISE(ABORT, 'input_file: a row is never changed');
END;
CREATE TRIGGER input_file_loses_no_row BEFORE DELETE ON input_file BEGIN
  SELECT RAISE(ABORT, 'input_file: a row is never removed');
END;
CREATE TRIGGER input_file_replaces_no_row BEFORE INSERT ON input_file WHEN EXISTS (SELECT 1 FROM input_file WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'input_file: a row is never replaced');
END;
CREATE TRIGGER calibration_keeps_rows BEFORE UPDATE ON calibration BEGIN
  SELECT RAISE(ABORT, 'calibration: a row is never changed');
END;
CREATE TRIGGER calibration_loses_no_row BEFORE DELETE ON calibration BEGIN
  SELECT RAISE(ABORT, 'calibration: a row is never removed');
END;
CREATE TRIGGER calibration_replaces_no_row BEFORE INSERT ON calibration WHEN EXISTS (SELECT 1 FROM calibration WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'calibration: a row is never replaced');
END;
CREATE TRIGGER run_opened_keeps_rows BEFORE UPDATE ON run_opened BEGIN
  SELECT RAISE(ABORT, 'run_opened: a row is never changed');
END;
CREATE TRIGGER run_opened_loses_no_row BEFORE DELETE ON run_opened BEGIN
  SELECT RAISE(ABORT, 'run_opened: a row is never removed');
END;
CREATE TRIGGER run_opened_replaces_no_row BEFORE INSERT ON run_opened WHEN EXISTS (SELECT 1 FROM run_opened WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_opened: a row is never replaced');
END;
CREATE TRIGGER run_input_keeps_rows BEFORE UPDATE ON run_input BEGIN
  SELECT RAISE(ABORT, 'run_input: a row is never changed');
END;
CREATE TRIGGER run_input_loses_no_row BEFORE DELETE ON run_input BEGIN
  SELECT RAISE(ABORT, 'run_input: a row is never removed');
END;
CREATE TRIGGER run_input_replaces_no_row BEFORE INSERT ON run_input WHEN EXISTS (SELECT 1 FROM run_input WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_input: a row is never replaced');
END;
CREATE TRIGGER run_judge_keeps_rows BEFORE UPDATE ON run_judge BEGIN
  SELECT RAISE(ABORT, 'run_judge: a row is never changed');
END;
CREATE TRIGGER run_judge_loses_no_row BEFORE DELETE ON run_judge BEGIN
  SELECT RAISE(ABORT, 'run_judge: a row is never removed');
END;
CREATE TRIGGER run_judge_replaces_no_row BEFORE INSERT ON run_judge WHEN EXISTS (SELECT 1 FROM run_judge WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_judge: a row is never replaced');
END;
CREATE TRIGGER finding_keeps_rows BEFORE UPDATE ON finding BEGIN
  SELECT RAISE(ABORT, 'finding: a row is never changed');
END;
CREATE TRIGGER finding_loses_no_row BEFORE DELETE ON finding BEGIN
  SELECT RAISE(ABORT, 'finding: a row is never removed');
END;
CREATE TRIGGER finding_replaces_no_row BEFORE INSERT ON finding WHEN EXISTS (SELECT 1 FROM finding WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'finding: a row is never replaced');
END;
CREATE TRIGGER trace_keeps_rows BEFORE UPDATE ON trace BEGIN
  SELECT RAISE(ABORT, 'trace: a row is never changed');
END;
CREATE TRIGGER trace_loses_no_row BEFORE DELETE ON trace BEGIN
  SELECT RAISE(ABORT, 'trace: a row is never removed');
END;
CREATE TRIGGER trace_replaces_no_row BEFORE INSERT ON trace WHEN EXISTS (SELECT 1 FROM trace WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'trace: a row is never replaced');
END;
CREATE TRIGGER run_event_keeps_rows BEFORE UPDATE ON run_event BEGIN
  SELECT RAISE(ABORT, 'run_event: a row is never changed');
END;
CREATE TRIGGER run_event_loses_no_row BEFORE DELETE ON run_event BEGIN
  SELECT RAISE(ABORT, 'run_event: a row is never removed');
END;
CREATE TRIGGER run_event_replaces_no_row BEFORE INSERT ON run_event WHEN EXISTS (SELECT 1 FROM run_event WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_event: a row is never replaced');
END;
CREATE TRIGGER run_closed_keeps_rows BEFORE UPDATE ON run_closed BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never changed');
END;
CREATE TRIGGER run_closed_loses_no_row BEFORE DELETE ON run_closed BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never removed');
END;
CREATE TRIGGER run_closed_replaces_no_row BEFORE INSERT ON run_closed WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never replaced');
END;
CREATE TRIGGER payload_released_keeps_rows BEFORE UPDATE ON payload_released BEGIN
  SELECT RAISE(ABORT, 'payload_released: a row is never changed');
END;
CREATE TRIGGER payload_released_loses_no_row BEFORE DELETE ON payload_released BEGIN
  SELECT RAISE(ABORT, 'payload_released: a row is never removed');
END;
CREATE TRIGGER payload_released_replaces_no_row BEFORE INSERT ON payload_released WHEN EXISTS (SELECT 1 FROM payload_released WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'payload_released: a row is never replaced');
END;
CREATE TRIGGER audit_entry_keeps_rows BEFORE UPDATE ON audit_entry BEGIN
  SELECT RAISE(ABORT, 'audit_entry: a row is never changed');
END;
CREATE TRIGGER audit_entry_loses_no_row BEFORE DELETE ON audit_entry BEGIN
  SELECT RAISE(ABORT, 'audit_entry: a row is never removed');
END;
CREATE TRIGGER audit_entry_replaces_no_row BEFORE INSERT ON audit_entry WHEN EXISTS (SELECT 1 FROM audit_entry WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'audit_entry: a row is never replaced');
END;
CREATE TRIGGER ledger_keeps_rows BEFORE UPDATE ON ledger BEGIN
  SELECT RAISE(ABORT, 'ledger: a row is never changed');
END;
CREATE TRIGGER ledger_loses_no_row BEFORE DELETE ON ledger BEGIN
  SELECT RAISE(ABORT, 'ledger: a row is never removed');
END;
CREATE TRIGGER ledger_replaces_no_row BEFORE INSERT ON ledger WHEN EXISTS (SELECT 1 FROM ledger WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'ledger: a row is never replaced');
END;
CREATE TRIGGER trace_payload_keeps_rows BEFORE UPDATE ON trace_payload BEGIN
  SELECT RAISE(ABORT, 'trace_payload: a row is never changed');
END;
CREATE TRIGGER trace_payload_replaces_no_row BEFORE INSERT ON trace_payload
WHEN EXISTS (SELECT 1 FROM trace_payload WHERE sha256 = NEW.sha256) BEGIN
  SELECT RAISE(ABORT, 'trace_payload: a row is never replaced');
END;
CREATE TRIGGER trace_payload_needs_a_release BEFORE DELETE ON trace_payload
WHEN NOT EXISTS (SELECT 1 FROM payload_released WHERE sha256 = OLD.sha256) BEGIN
  SELECT RAISE(ABORT, 'trace_payload: bytes go only with a row in payload_released');
END;

-- What a closed run says must be what it holds.
CREATE TRIGGER finding_needs_an_open_run BEFORE INSERT ON finding
WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.run) BEGIN
  SELECT RAISE(ABORT, 'finding: its run is closed');
END;
CREATE TRIGGER trace_needs_an_open_run BEFORE INSERT ON trace
WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.run) BEGIN
  SELECT RAISE(ABORT, 'trace: its run is closed');
END;
CREATE TRIGGER run_event_needs_an_open_run BEFORE INSERT ON run_event
WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.run) BEGIN
  SELECT RAISE(ABORT, 'run_event: its run is closed');
END;
CREATE TRIGGER run_input_needs_an_open_run BEFORE INSERT ON run_input
WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.run) BEGIN
  SELECT RAISE(ABORT, 'run_input: its run is closed');
END;
CREATE TRIGGER run_judge_needs_an_open_run BEFORE INSERT ON run_judge
WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.run) BEGIN
  SELECT RAISE(ABORT, 'run_judge: its run is closed');
END;
CREATE TRIGGER run_closed_passes_with_findings BEFORE INSERT ON run_closed
WHEN NEW.verdict = 'pass' AND (NEW.passed < 1 OR NEW.failed + NEW.undecided + NEW.voided > 0
  OR EXISTS (SELECT 1 FROM finding WHERE run = NEW.id AND verdict <> 'pass')) BEGIN
  SELECT RAISE(ABORT, 'run_closed: a run passes only with findings that all pass');
END;
CREATE TRIGGER payload_released_keeps_birth_records BEFORE INSERT ON payload_released
WHEN EXISTS (
  SELECT 1 FROM trace JOIN run_opened birth ON birth.id = trace.run JOIN run_closed ON run_closed.id = birth.id
  WHERE trace.sha256 = NEW.sha256 AND run_closed.verdict = 'pass' AND birth.purpose = 'end_of_line'
    AND NOT EXISTS (SELECT 1 FROM run_opened earlier JOIN run_closed passed ON passed.id = earlier.id
      WHERE earlier.serial = birth.serial AND earlier.id < birth.id AND earlier.purpose = 'end_of_line'
        AND passed.verdict = 'pass')) BEGIN
  SELECT RAISE(ABORT, 'payload_released: the bytes belong to a birth record');
END;
)sql";

}  // namespace rig
