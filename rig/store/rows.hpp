#pragma once

#include "rig/store/records.hpp"
#include "rig/store/sqlite.hpp"

/// Records to rows and back, column by column in the order of table_format.cpp. A row to be inserted has no id; a row
/// that was read begins with it. Reading throws StoreError (damaged) when a column does not hold what it should.
namespace rig {

sqlite::Row to_row(const RunOpened& run, const std::string& uuid);
sqlite::Row to_row(const RunInput& input, RunNumber run);
sqlite::Row to_row(const JudgeVersion& judge, RunNumber run);
sqlite::Row to_row(const Finding& finding, RunNumber run);
sqlite::Row to_row(const TraceRow& trace);
sqlite::Row to_row(const RunEvent& event);
sqlite::Row to_row(const RunClosed& closed);
sqlite::Row to_row(const AuditEntry& entry);
sqlite::Row to_row(const StoredCalibration& calibration, const std::string& digest);

StoredRun run_from(const sqlite::Row& row);  ///< without inputs, judges and end
RunInput input_from(const sqlite::Row& row);
JudgeVersion judge_from(const sqlite::Row& row);
StoredFinding finding_from(const sqlite::Row& row);
TraceRow trace_from(const sqlite::Row& row);
RunEvent event_from(const sqlite::Row& row);
AuditEntry audit_from(const sqlite::Row& row);
RunClosed closed_from(const sqlite::Row& row);

}  // namespace rig
