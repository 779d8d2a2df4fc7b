#include "rig/store/schema.hpp"

/// Step 2 of the schema: a run may end in "re-seat". A CHECK cannot be changed in place, so the table is made anew with
/// the same columns in the same order; its rows, and with them every digest, stay as they are.
namespace rig {

extern const char* const kSchemaStep2;  // read by schema.cpp
const char* const kSchemaStep2 = R"sql(
CREATE TABLE run_closed_kept AS SELECT * FROM run_closed;
DROP TABLE run_closed;
CREATE TABLE run_closed (
  id INTEGER PRIMARY KEY,
  verdict TEXT NOT NULL CHECK (verdict IN ('pass', 'fail', 'undecided', 'void')),
  reason TEXT NOT NULL,
  ended TEXT NOT NULL CHECK (ended IN ('completed', 'stopped', 'fault', 'interrupted', 'reseat')),
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
  CHECK (ended <> 'reseat' OR verdict = 'void'),
  FOREIGN KEY (id) REFERENCES run_opened (id)
) STRICT;
INSERT INTO run_closed SELECT * FROM run_closed_kept ORDER BY id;
DROP TABLE run_closed_kept;
CREATE TRIGGER run_closed_keeps_rows BEFORE UPDATE ON run_closed BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never changed');
END;
CREATE TRIGGER run_closed_loses_no_row BEFORE DELETE ON run_closed BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never removed');
END;
CREATE TRIGGER run_closed_replaces_no_row BEFORE INSERT ON run_closed WHEN EXISTS (SELECT 1 FROM run_closed WHERE id = NEW.id) BEGIN
  SELECT RAISE(ABORT, 'run_closed: a row is never replaced');
END;
CREATE TRIGGER run_closed_passes_with_findings BEFORE INSERT ON run_closed
WHEN NEW.verdict = 'pass' AND (NEW.passed < 1 OR NEW.failed + NEW.undecided + NEW.voided > 0
  OR EXISTS (SELECT 1 FROM finding WHERE run = NEW.id AND verdict <> 'pass')) BEGIN
  SELECT RAISE(ABORT, 'run_closed: a run passes only with findings that all pass');
END;
CREATE INDEX run_opened_by_bench ON run_opened (bench);
)sql";

}  // namespace rig
