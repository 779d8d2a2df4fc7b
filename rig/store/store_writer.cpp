#include "rig/store/store_writer.hpp"

#include <cmath>
#include <condition_variable>
#include <deque>
#include <mutex>
#include <optional>
#include <thread>

#include "rig/store/ledger.hpp"
#include "rig/store/rows.hpp"
#include "rig/store/run_rows.hpp"
#include "rig/store/schema.hpp"
#include "rig/store/store_lock.hpp"
#include "rig/store/store_reader.hpp"
#include "rig/store/trace_codec.hpp"

namespace rig {
namespace {

using Clock = std::chrono::steady_clock;

/// One entry of the queue. `write` runs on the writer's thread inside the transaction.
struct Entry {
  std::function<void(Ledger&)> write;
  std::shared_ptr<StoredFinding> finding;  ///< to be announced once committed
  bool slow = false;                       ///< a trace: what was queued before it is committed first
  Clock::time_point since{};
};

[[noreturn]] void refuse(const std::string& where, const std::string& what) {
  throw StoreError{StoreError::Kind::refused, where, what, "Nothing was written; report this with the message"};
}

}  // namespace

class StoreWriter::Worker {
 public:
  Worker(std::string path, WriterOptions options)
      : path_{std::move(path)},
        lock_{path_},
        options_{std::move(options)},
        connection_{path_, sqlite::Mode::write, options_.vfs} {
    prepare_schema(connection_);
    ledger_.emplace(connection_);
    last_run_of_others_ = ledger_->last_id(Table::run_opened);
    thread_ = std::thread{[this] { work(); }};
  }

  ~Worker() {
    {
      const std::lock_guard guard{mutex_};
      ending_ = true;
    }
    wake_.notify_all();
    thread_.join();
  }

  Ticket add(Entry entry) {
    entry.since = Clock::now();
    const std::lock_guard guard{mutex_};
    throw_if_failed();
    if (queue_.size() >= options_.queue_limit)
      throw StoreError{StoreError::Kind::behind, path_,
                       "the disk does not keep up: too many entries wait to be written",
                       "Check the disk (health, free space, other programs), then run the unit again"};
    if (entry.finding) ++findings_waiting_;
    queue_.push_back(std::move(entry));
    wake_.notify_one();
    return ++last_ticket_;
  }

  /// Runs `write` on the writer's thread and waits for its commit. What it refers to outlives it: the wait ends with
  /// the commit, or after the writer has stopped working.
  void add_and_wait(std::function<void(Ledger&)> write) { wait(add({.write = std::move(write), .finding = {}})); }

  void wait(Ticket ticket) {
    std::unique_lock guard{mutex_};
    if (ticket > last_ticket_) refuse(path_, "waiting for an entry that was never handed over");
    done_.wait(guard, [&] { return committed_ >= ticket || stopped_; });
    if (committed_ < ticket) throw_if_failed();
  }

  bool wait_for_room(std::chrono::milliseconds patience) {
    std::unique_lock guard{mutex_};
    const auto room = [&] { return failure_ || !backlog_now().too_far_behind(); };
    const bool there = done_.wait_for(guard, patience, room);
    throw_if_failed();
    return there;
  }

  Ticket committed() const {
    const std::lock_guard guard{mutex_};
    return committed_;
  }

  Backlog backlog() const {
    const std::lock_guard guard{mutex_};
    throw_if_failed();
    return backlog_now();
  }

  const std::string& path() const { return path_; }
  RunNumber last_run_of_others() const { return last_run_of_others_; }

 private:
  void throw_if_failed() const {
    if (failure_) throw *failure_;
  }

  Backlog backlog_now() const {
    Backlog backlog{.findings = findings_waiting_};
    const Clock::time_point oldest = !batch_.empty()   ? batch_.front().since
                                     : !queue_.empty() ? queue_.front().since
                                                       : Clock::now();
    backlog.oldest = std::chrono::duration_cast<std::chrono::milliseconds>(Clock::now() - oldest);
    return backlog;
  }

  /// Everything that waits, but a trace only at the front: encoding it must not delay the findings before it.
  void take_batch() {
    do {
      batch_.push_back(std::move(queue_.front()));
      queue_.pop_front();
    } while (!queue_.empty() && !queue_.front().slow);
  }

  void commit_batch() {
    std::vector<StoredFinding> findings;
    sqlite::Transaction transaction{connection_};
    for (Entry& entry : batch_) {
      entry.write(*ledger_);
      if (entry.finding) findings.push_back(std::move(*entry.finding));
    }
    transaction.commit();
    if (options_.on_commit) options_.on_commit({.ticket = committed_ + batch_.size(), .findings = findings});
  }

  void work() {
    std::unique_lock guard{mutex_};
    while (!failure_) {
      wake_.wait(guard, [&] { return ending_ || !queue_.empty(); });
      if (queue_.empty()) break;
      take_batch();
      guard.unlock();
      std::optional<StoreError> failure;
      try {
        commit_batch();
      } catch (const StoreError& error) {
        failure = error;
      } catch (const std::exception& error) {
        failure = StoreError{StoreError::Kind::refused, path_, error.what(), "Report this with the message"};
      }
      guard.lock();
      finish_batch(std::move(failure));
    }
    stopped_ = true;
    done_.notify_all();
  }

  /// A failed write or sync is never tried again: after it nobody knows what is on the disk.
  void finish_batch(std::optional<StoreError> failure) {
    failure_ = std::move(failure);
    if (!failure_) {
      committed_ += batch_.size();
      for (const Entry& entry : batch_) findings_waiting_ -= entry.finding ? 1 : 0;
      batch_.clear();
    }
    done_.notify_all();
  }

  const std::string path_;
  StoreLock lock_;
  const WriterOptions options_;
  sqlite::Connection connection_;  // the writer's thread only, once that runs; likewise the ledger
  std::optional<Ledger> ledger_;
  RunNumber last_run_of_others_ = 0;

  mutable std::mutex mutex_;
  std::condition_variable wake_, done_;
  std::deque<Entry> queue_;
  std::deque<Entry> batch_;  // being written; changed under the lock, its entries are the writer's thread's own
  Ticket last_ticket_ = 0, committed_ = 0;
  std::size_t findings_waiting_ = 0;
  std::optional<StoreError> failure_;
  bool ending_ = false, stopped_ = false;
  std::thread thread_;
};

StoreWriter::StoreWriter(std::string path, WriterOptions options)
    : worker_{std::make_unique<Worker>(std::move(path), std::move(options))} {}
StoreWriter::~StoreWriter() = default;

std::vector<StoredRun> StoreWriter::close_interrupted() {
  std::vector<RunNumber> numbers;
  worker_->add_and_wait([&](Ledger& ledger) { numbers = append_interrupted(ledger, worker_->last_run_of_others()); });
  std::vector<StoredRun> runs;
  if (numbers.empty()) return runs;
  const StoreReader reader{worker_->path()};
  for (const RunNumber number : numbers) runs.push_back(reader.load_run(number));
  return runs;
}

OpenedRun StoreWriter::open_run(RunOpened run) {
  if (run.serial.empty()) refuse(path(), "a run without a unit's serial number");
  if (run.purpose.empty()) refuse(path(), "a run without a purpose");
  OpenedRun opened{};
  worker_->add_and_wait([&](Ledger& ledger) { opened = append_run(ledger, std::move(run)); });
  return opened;
}

void StoreWriter::close_run(RunClosed closed) {
  worker_->add_and_wait([&](Ledger& ledger) { append_closed(ledger, closed); });
}

Ticket StoreWriter::add_finding(RunNumber run, Finding finding) {
  if (finding.id.empty() || finding.step.empty()) refuse(path(), "a finding without a characteristic or a step");
  if (finding.verdict == Verdict::pass && !std::isfinite(finding.value))
    refuse(path(), "'" + finding.id + "' passes without a value");
  auto stored = std::make_shared<StoredFinding>(StoredFinding{.run = run, .finding = std::move(finding)});
  return worker_->add({.write =
                           [stored](Ledger& ledger) {
                             stored->id =
                                 ledger.append(Table::finding, to_row(stored->finding, stored->run), stored->run);
                           },
                       .finding = stored});
}

Ticket StoreWriter::add_trace(RunNumber run, StepTrace trace) {
  check_trace(trace);
  auto kept = std::make_shared<const StepTrace>(std::move(trace));
  return worker_->add(
      {.write = [run, kept](Ledger& ledger) { append_trace(ledger, run, *kept); }, .finding = {}, .slow = true});
}

Ticket StoreWriter::add_event(RunEvent event) {
  if (event.kind.empty()) refuse(path(), "an event without a kind");
  return worker_->add(
      {.write = [event = std::move(event)](Ledger& ledger) { append_event(ledger, event); }, .finding = {}});
}

Ticket StoreWriter::add_audit(AuditEntry entry) {
  if (entry.who.empty() || entry.action.empty()) refuse(path(), "an audit entry without a person or an action");
  return worker_->add(
      {.write = [entry = std::move(entry)](Ledger& ledger) { append_audit(ledger, entry); }, .finding = {}});
}

std::string StoreWriter::keep_calibration(StoredCalibration calibration) {
  if (calibration.bench.empty()) refuse(path(), "a calibration without a bench");
  std::string digest;
  worker_->add_and_wait([&](Ledger& ledger) { digest = append_calibration(ledger, calibration); });
  return digest;
}

void StoreWriter::release_payloads(PayloadRelease release) {
  if (release.policy.empty() || release.who.empty()) refuse(path(), "a release without a policy or a person");
  worker_->add_and_wait([&](Ledger& ledger) { append_release(ledger, release); });
}

Ticket StoreWriter::committed() const { return worker_->committed(); }
void StoreWriter::wait(Ticket ticket) { worker_->wait(ticket); }
Backlog StoreWriter::backlog() const { return worker_->backlog(); }
bool StoreWriter::wait_for_room(std::chrono::milliseconds patience) { return worker_->wait_for_room(patience); }
const std::string& StoreWriter::path() const { return worker_->path(); }

}  // namespace rig
