#pragma once

#include <unistd.h>

#include <filesystem>
#include <random>
#include <stdexcept>
#include <string>

#include "rig/store/sqlite.hpp"
#include "rig/store/store_reader.hpp"
#include "rig/store/store_writer.hpp"
#include "rig/store/verify.hpp"

namespace rig::test {

/// A folder of its own for a test, gone afterwards; in memory where there is such a place, since nothing here is about
/// how long a disk takes.
struct Folder {
  Folder() {
    const std::filesystem::path memory = "/dev/shm";
    const bool usable = access(memory.c_str(), W_OK) == 0;
    std::string pattern = ((usable ? memory : std::filesystem::temp_directory_path()) / "store-test-XXXXXX").string();
    if (!mkdtemp(pattern.data())) throw std::runtime_error{"cannot make " + pattern};
    path = pattern;
  }
  Folder(const Folder&) = delete;
  Folder& operator=(const Folder&) = delete;
  ~Folder() {
    std::error_code error;
    std::filesystem::remove_all(path, error);
  }
  std::string store() const { return path + "/runs.store"; }
  std::string path;
};

inline RunOpened some_run(std::string serial = "00412") {
  RunOpened run;
  run.serial = std::move(serial);
  run.product = "two-pressure";
  run.scenario = "end of line";
  run.bench = "left";
  run.inputs = {{.role = "product", .path = "products/two.yaml", .bytes = "format: 1\n", .sha256 = {}},
                {.role = "scenario", .path = "end-of-line.yaml", .bytes = "format: 1\nsteps: []\n", .sha256 = {}}};
  run.judges = {{"sweep", 2}, {"power_up", 1}};
  run.program = "0.1.0";
  run.operator_name = "A. Builder";
  run.defects = {"gain=1.02", "slow_start"};
  run.seed = 18446744073709551615u;
  return run;
}

inline Finding some_finding(int i = 0, Verdict verdict = Verdict::pass) {
  Finding finding;
  finding.id = "sweep/manifold_pressure@" + std::to_string(1000 + i) + "rpm,180kPa";
  finding.step = "sweep";
  finding.in = "kPa";
  finding.value = 151.25 + i;
  finding.expected = 151.0 + i;
  finding.low = 149.5 + i;
  finding.high = 152.5 + i;
  finding.uncertainty = 0.3;
  finding.margin = 1.25;
  finding.verdict = verdict;
  finding.reason = verdict == Verdict::pass ? "" : "1.2 kPa above the band";
  finding.segment = static_cast<std::uint32_t>(i);
  return finding;
}

/// A small recording: an envelope, edges, and one silent track.
inline StepTrace some_trace(std::uint32_t seed = 1) {
  std::mt19937 random{seed};
  StepTrace trace;
  trace.step = "sweep";
  trace.tick_rate = 10'000'000;
  for (const CaptureKind kind : {CaptureKind::envelope, CaptureKind::edges, CaptureKind::samples}) {
    TrackInfo info{};
    info.track = {.port = PortId{7}, .kind = kind, .trigger = {}};
    info.scale = 5.0 / 4096;
    info.offset = -0.001;
    info.clock.skew = Nanoseconds{-1200};
    trace.tracks.push_back(info);
  }
  trace.names = {"manifold out", "speed in", "battery"};
  for (std::uint32_t i = 0; i < 3; ++i) {
    Slice slice;
    slice.record = {.id = i,
                    .start = BenchTime{Nanoseconds{i * 1000000}},
                    .end = BenchTime{Nanoseconds{i * 1000000 + 999000}},
                    .reason = SegmentEnd::settled,
                    .settled = {Nanoseconds{500}, std::nullopt}};
    slice.tracks.resize(3);
    for (int n = 0; n < 30; ++n) slice.tracks[0].values.push_back(2000 + static_cast<int>(random() % 5));
    for (int n = 0; n < 10; ++n) slice.tracks[1].values.push_back(40000 + static_cast<int>(random() % 3));
    slice.tracks[1].gap = i == 1;
    if (i == 2) slice.flags.push_back({RigFlag::Kind::gap, BenchTime{Nanoseconds{2100000}}, PortId{7}, "2 bins lost"});
    trace.slices.push_back(std::move(slice));
  }
  return trace;
}

/// Writes a whole run and returns its number.
inline RunNumber write_run(StoreWriter& writer, RunOpened opened = some_run(), Verdict verdict = Verdict::pass,
                           int findings = 3, std::uint32_t trace_seed = 1) {
  const OpenedRun run = writer.open_run(std::move(opened));
  for (int i = 0; i < findings; ++i) writer.add_finding(run.number, some_finding(i, i == 0 ? verdict : Verdict::pass));
  writer.add_trace(run.number, some_trace(trace_seed));
  RunClosed closed;
  closed.run = run.number;
  closed.verdict = verdict;
  closed.reason = verdict == Verdict::pass ? "" : "one characteristic is outside its band";
  closed.outputs_safe = true;
  closed.supply = Volts{0.02};
  closed.bench_duration = std::chrono::seconds{45};
  writer.close_run(closed);
  return run.number;
}

/// Changes a store behind the program's back, guards taken down first.
inline void tamper(const std::string& store, const std::string& sql) {
  sqlite::Connection connection{store, sqlite::Mode::write};
  std::vector<std::string> guards;
  {
    sqlite::Statement all{connection, "SELECT sql, name FROM sqlite_schema WHERE type = 'trigger'"};
    while (all.step()) guards.push_back(all.text(0)), guards.push_back(all.text(1));
  }
  connection.execute("PRAGMA foreign_keys=OFF; PRAGMA ignore_check_constraints=ON; PRAGMA synchronous=OFF; BEGIN");
  for (std::size_t i = 1; i < guards.size(); i += 2) connection.execute("DROP TRIGGER " + guards[i]);
  connection.execute(sql);
  for (std::size_t i = 0; i < guards.size(); i += 2) connection.execute(guards[i]);
  connection.execute("COMMIT");
}

}  // namespace rig::test
