#pragma once

#include <chrono>
#include <cstdint>
#include <functional>
#include <memory>
#include <span>
#include <string>
#include <vector>

#include "rig/store/records.hpp"
#include "rig/store/store_error.hpp"

namespace rig {

/// Counts what was handed to a writer, from 1. All up to committed() is on the disk.
using Ticket = std::uint64_t;

/// One commit, for whoever shows findings: nothing may be shown, printed or sent before it.
struct Commit {
  Ticket ticket;                            ///< the last one it holds
  std::span<const StoredFinding> findings;  ///< in the order they were added; valid during the call only
};

/// What has been handed over and is not yet on the disk.
struct Backlog {
  std::size_t findings = 0;
  std::chrono::milliseconds oldest{0};  ///< how long the oldest entry has been waiting
  /// The disk does not keep up: no new segment, outputs safe, exit 5 (256 findings, 2 s).
  bool too_far_behind() const { return findings > 256 || oldest > std::chrono::seconds{2}; }
};

struct WriterOptions {
  /// Called on the writer's own thread after each commit and before wait() returns for it. Must be quick, must not
  /// throw and must not call a blocking function of the writer.
  std::function<void(const Commit&)> on_commit;
  std::size_t queue_limit = 8192;  ///< entries; beyond it add_*() throws (Kind::behind), nothing is dropped
  std::string vfs;                 ///< SQLite's file layer, for fault-injection tests; empty: the system's
};

struct OpenedRun {
  RunNumber number;
  std::string id;
  std::int64_t attempt;
};

/// The one writer of a store: a thread that puts all that waits into one durable transaction (WAL, synchronous FULL).
/// A lock file beside the store keeps a second writer out, in this or another process. Any thread may call. The first
/// error ends the writer: the entries that wait are not written, and every later call throws that error.
class StoreWriter {
 public:
  /// Opens or creates the store and brings its schema up to date. Throws StoreError.
  explicit StoreWriter(std::string path, WriterOptions options = {});
  /// Writes what waits, then closes. Errors at this point are in no one's hands: wait() first.
  ~StoreWriter();
  StoreWriter(const StoreWriter&) = delete;
  StoreWriter& operator=(const StoreWriter&) = delete;

  /// Closes, as void, the runs that a writer before this one left open (its program was killed, or the power failed),
  /// and returns them. Call it first. Blocks until committed.
  std::vector<StoredRun> close_interrupted();

  /// Blocks until committed: only then may anything be energised.
  OpenedRun open_run(RunOpened run);
  /// Blocks until committed: only then may the verdict be shown.
  void close_run(RunClosed closed);

  Ticket add_finding(RunNumber run, Finding finding);
  Ticket add_trace(RunNumber run, StepTrace trace);  ///< encoded on the writer's thread
  Ticket add_event(RunEvent event);
  Ticket add_audit(AuditEntry entry);
  /// Keeps a calibration; returns its SHA-256. Blocks until committed.
  std::string keep_calibration(StoredCalibration calibration);
  /// Gives trace bytes up, and says so in the ledger, in one transaction. Blocks until committed.
  void release_payloads(PayloadRelease release);

  Ticket committed() const;
  void wait(Ticket ticket);  ///< Blocks until committed() >= ticket.
  Backlog backlog() const;
  /// Blocks until the backlog is no longer too far behind; false when it stays so for `patience`.
  bool wait_for_room(std::chrono::milliseconds patience = std::chrono::seconds{2});
  const std::string& path() const;

 private:
  class Worker;
  std::unique_ptr<Worker> worker_;
};

}  // namespace rig
