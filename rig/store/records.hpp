#pragma once

#include <cstdint>
#include <optional>
#include <string>
#include <string_view>
#include <vector>

#include "rig/core/finding.hpp"
#include "rig/core/quantity.hpp"
#include "rig/core/recording.hpp"
#include "rig/store/wall_time.hpp"

/// What a store holds, as plain data. Every record is a row that is added once and never changed.
namespace rig {

using RunNumber = std::int64_t;  ///< small, counted from 1 in each store: what people are shown ("run 481")

/// A file the run was made from, kept with it for ever.
struct RunInput {
  std::string
      role;  ///< "product", "scenario", "bench", "facts" (what was known beforehand), or what else it was to the run
  std::string path;    ///< as it was read
  std::string bytes;   ///< its content; loaded only by StoreReader::inputs()
  std::string sha256;  ///< of the content, lower-case hexadecimal; filled by the writer
};

/// Which judge judged: re-judging with another version says so.
struct JudgeVersion {
  std::string step_kind;
  std::int64_t version = 1;
  friend bool operator==(const JudgeVersion&, const JudgeVersion&) = default;
};

/// Written and committed before anything is energised.
struct RunOpened {
  std::string serial;
  std::string product, scenario, bench;  ///< names
  std::string purpose = "end_of_line";   ///< "end_of_line", "regression", "trial", "bench" (about the stand itself)
  std::vector<RunInput> inputs;
  std::vector<JudgeVersion> judges;
  std::string program;  ///< version of this program
  std::string operator_name;
  std::string host, boot;                  ///< filled by the writer when empty
  WallTime opened_at{};                    ///< filled by the writer when zero
  std::vector<std::string> defects;        ///< of an emulated unit, as given
  std::optional<std::uint64_t> seed;       ///< of an emulated unit
  std::optional<std::string> calibration;  ///< SHA-256 of a kept calibration
  std::int64_t attempt = 0;  ///< of this serial, on all benches, voids and re-seats included; filled by the
                             ///< writer. Runs about the stand itself are counted on their own
};

/// How a run came to its end. `interrupted`: the program ended first. `reseat`: the unit does not sit well in the
/// fixture; it is put in again and the run repeated. Always void, and counted apart.
enum class RunEnd : std::uint8_t { completed, stopped, fault, interrupted, reseat };
std::string_view to_text(RunEnd end);
std::optional<RunEnd> run_end_from_text(std::string_view text);

struct FindingCounts {
  std::int64_t pass = 0, fail = 0, undecided = 0, void_ = 0;
  std::int64_t all() const { return pass + fail + undecided + void_; }
  friend bool operator==(const FindingCounts&, const FindingCounts&) = default;
};

/// Written last. The store refuses a `pass` for a run without findings or with one that did not pass.
struct RunClosed {
  RunNumber run = 0;
  Verdict verdict = Verdict::void_;
  std::string reason;  ///< why not pass, in words a builder can act on
  RunEnd end = RunEnd::completed;
  std::string end_text;         ///< why, when stopped or faulty
  bool outputs_safe = false;    ///< confirmed by the bench
  std::optional<Volts> supply;  ///< read back at the end
  WallTime closed_at{};         ///< filled by the writer when zero
  Nanoseconds bench_duration{0};
  Nanoseconds host_duration{0};
  std::int64_t segments_repeated = 0;
  FindingCounts counts;  ///< filled by the writer, from what it holds
};

struct StoredFinding {
  std::int64_t id = 0;
  RunNumber run = 0;
  Finding finding;
};

/// A prompt, an answer, or anything else that happened in a run and is no finding.
struct RunEvent {
  RunNumber run = 0;
  std::string kind;  ///< "prompt", "answer", "segment repeated", ...
  std::string text;
  std::string who;              ///< who answered; may be empty
  std::optional<BenchTime> at;  ///< on the bench's clock
  WallTime happened_at{};       ///< filled by the writer when zero
};

/// Something a person did to the stand or its records.
struct AuditEntry {
  std::string who, action, subject, detail;
  WallTime happened_at{};  ///< filled by the writer when zero
};

/// A calibration of a bench, kept by its content.
struct StoredCalibration {
  std::string bench;
  std::string made_by, certificate;
  WallTime made_at{};
  std::string content;  ///< as the calibrating room wrote it
};

/// Trace bytes given up by a stated policy. Never those of a birth record.
struct PayloadRelease {
  std::vector<std::string> sha256;  ///< of the payloads
  std::string policy, who;
};

/// A run as the store knows it. `closed` is missing while it is under way (or was cut off and not yet closed as void).
struct StoredRun {
  RunNumber number = 0;
  std::string id;  ///< UUID version 7
  RunOpened opened;
  std::optional<RunClosed> closed;
  std::int64_t reseats = 0;  ///< how many of the serial's runs up to this one ended in a re-seat
  bool reseated() const { return closed && closed->end == RunEnd::reseat; }
};

/// "run 481 (unit 00412, attempt 2)"
std::string describe(const StoredRun& run);

/// What one step recorded. `tracks` and every slice's tracks go together by position.
struct StepTrace {
  std::string step;
  std::uint32_t part = 0;       ///< a long step may be stored in several parts, counted from 0
  std::uint32_t tick_rate = 0;  ///< of the bench's base clock; edges need it
  std::vector<TrackInfo> tracks;
  std::vector<std::string> names;  ///< of the tracks' ports; empty, or one per track
  std::vector<Slice> slices;
};

/// A stored trace without its bytes.
struct TraceRow {
  std::int64_t id = 0;
  RunNumber run = 0;
  std::string step;
  std::uint32_t part = 0;
  std::int64_t track = kSegments;  ///< position of the track, or kSegments
  std::string name;                ///< of the track's port
  std::vector<std::uint8_t> info;  ///< the TrackInfo, encoded (trace_codec.hpp)
  std::int64_t codec = 1;
  std::string sha256;                            ///< of the payload
  std::int64_t length = 0;                       ///< of the payload, bytes
  static constexpr std::int64_t kSegments = -1;  ///< the payload that holds segment records and flags
};

}  // namespace rig
