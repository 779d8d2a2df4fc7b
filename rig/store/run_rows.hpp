#pragma once

#include "rig/store/ledger.hpp"
#include "rig/store/records.hpp"
#include "rig/store/store_writer.hpp"

/// What each call of the writer puts into the store, inside the writer's transaction.
namespace rig {

/// Fills host, boot and times that were left empty, numbers the attempt, keeps the inputs by content.
OpenedRun append_run(Ledger& ledger, RunOpened run);
void append_closed(Ledger& ledger, RunClosed closed);  ///< counts the findings it closes over
void append_trace(Ledger& ledger, RunNumber run, const StepTrace& trace);
void append_event(Ledger& ledger, RunEvent event);
void append_audit(Ledger& ledger, AuditEntry entry);
std::string append_calibration(Ledger& ledger, const StoredCalibration& calibration);
void append_release(Ledger& ledger, const PayloadRelease& release);
/// Closes every open run up to and with `last` as void; returns their numbers.
std::vector<RunNumber> append_interrupted(Ledger& ledger, RunNumber last);

}  // namespace rig
