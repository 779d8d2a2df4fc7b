#include "tests/unit/store/faulty_disk.hpp"

#include <optional>
#include <set>

#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

/// What one unit's run came to on a disk that may fail.
struct Outcome {
  std::set<std::int64_t> acknowledged;
  bool verdict_acknowledged = false;
  std::optional<StoreError> error;
};

Outcome run_unit(const std::string& store) {
  Outcome outcome;
  try {
    WriterOptions options;
    options.vfs = FaultyDisk::kName;
    options.on_commit = [&](const Commit& commit) {
      for (const StoredFinding& finding : commit.findings) outcome.acknowledged.insert(finding.id);
    };
    StoreWriter writer{store, options};
    const OpenedRun run = writer.open_run(some_run());
    for (int i = 0; i < 3; ++i) writer.wait(writer.add_finding(run.number, some_finding(i)));  // three commits
    writer.wait(writer.add_trace(run.number, some_trace()));
    RunClosed closed;
    closed.run = run.number, closed.verdict = Verdict::pass;
    writer.close_run(closed);
    outcome.verdict_acknowledged = true;
  } catch (const StoreError& error) {
    outcome.error = error;
  }
  return outcome;
}

void check_what_is_left(const std::string& store, const Outcome& outcome) {
  StoreWriter writer{store};  // the disk is mended
  for (const StoredRun& run : writer.close_interrupted()) CHECK(run.closed->verdict == Verdict::void_);
  const StoreReader reader{store};
  std::set<std::int64_t> there;
  for (const StoredRun& run : reader.list_runs()) {
    REQUIRE(run.closed);
    for (const StoredFinding& finding : reader.findings(run.number)) there.insert(finding.id);
    if (outcome.verdict_acknowledged) CHECK(run.closed->verdict == Verdict::pass);
  }
  CHECK(std::ranges::includes(there, outcome.acknowledged));
  const VerifyReport report = verify_store(store);
  CHECK(report.findings.empty());
}

}  // namespace

TEST_CASE("a disk that fails at any write or sync of a run loses nothing acknowledged and is reported",
          "[store][crash]") {
  FaultyDisk disk;
  using Fault = FaultyDisk::Fault;
  const auto [fault, sticking] =
      GENERATE(table<Fault, bool>({{Fault::io_error, false}, {Fault::full, true}, {Fault::short_write, false}}));
  long struck = 0;
  for (long n = 1;; ++n) {
    INFO("operation " << n << ", fault " << static_cast<int>(fault) << (sticking ? ", from then on" : ", once"));
    const Folder folder;
    disk.fail(n, fault, sticking);
    const Outcome outcome = run_unit(folder.store());
    const bool hit = disk.struck();
    disk.fail(0, fault, false);
    if (hit && !outcome.verdict_acknowledged) {
      ++struck;
      REQUIRE(outcome.error);
      CHECK((outcome.error->kind() == StoreError::Kind::io || outcome.error->kind() == StoreError::Kind::full));
    } else {
      REQUIRE_FALSE(outcome.error);
    }
    check_what_is_left(folder.store(), outcome);
    if (!hit) break;
  }
  CHECK(struck > 20);
}
