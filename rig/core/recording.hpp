#pragma once

#include <cstddef>
#include <cstdint>
#include <list>
#include <optional>
#include <span>
#include <string>
#include <vector>

#include "rig/core/quantity.hpp"
#include "rig/core/timeline.hpp"

/// What the bench saw while playing. Readings stay the converter's own integers, with scale and offset beside them;
/// calibration is applied by the judge and nowhere else.
namespace rig {

/// Means in an envelope are kept to a sixteenth of a converter code.
constexpr int kMeanFraction = 16;

/// The clock a track's times were taken with, against the bench's base clock.
struct ClockInfo {
  std::uint16_t id = 0;  ///< tracks of one id share a clock; durations are judged within one only
  Nanoseconds resolution{100};
  Nanoseconds skew{0};
  Nanoseconds uncertainty{0};
  friend bool operator==(const ClockInfo&, const ClockInfo&) = default;
};

struct TrackInfo {
  Track track;
  double scale = 1;  ///< physical = code * scale + offset, in V, A or ohm
  double offset = 0;
  ClockInfo clock;
  friend bool operator==(const TrackInfo&, const TrackInfo&) = default;
};

/// A stretch of one track, in order. What `values` holds:
///   samples, triggered  one code a sample
///   envelope            minimum, maximum (codes), mean * kMeanFraction for each bin, interleaved
///   edges               ((ticks since the edge before, or since `first`) << 1) | level after the edge
///   bytes               one byte each
/// `count` is samples, bins, edges or bytes.
struct Block {
  TrackId track{};
  BenchTime first;  ///< of the first sample or bin's start; for edges the reference of the first delta
  std::uint32_t count = 0;
  std::uint32_t dropped_before = 0;  ///< how many were lost since the block before: a gap
  std::vector<std::int32_t> values;
  friend bool operator==(const Block&, const Block&) = default;
};

enum class SegmentEnd : std::uint8_t { elapsed = 0, settled = 1, timed_out = 2, advanced = 3, stopped = 4 };

/// How one segment went.
struct SegmentRecord {
  std::uint32_t id = 0;
  BenchTime start, end;
  SegmentEnd reason = SegmentEnd::elapsed;
  std::vector<std::optional<Nanoseconds>>
      settled;  ///< per condition: when it last began to hold, from the segment's start
  friend bool operator==(const SegmentRecord&, const SegmentRecord&) = default;
};

/// Something the rig itself noticed. A flag inside a segment takes its verdicts away (void).
struct RigFlag {
  enum class Kind : std::uint8_t {
    gap = 1,
    saturated = 2,
    current_limited = 3,
    interlock = 4,
    underrun = 5,
    clock = 6,
    supply = 7,
    board_error = 8,
    link = 9,
  } kind{};
  BenchTime at;
  std::optional<PortId> port;
  std::string text;
  friend bool operator==(const RigFlag&, const RigFlag&) = default;
};

/// At most 1 MiB of recording. A segment's record comes after every block that reaches into it, flags before it.
struct Chunk {
  std::vector<Block> blocks;
  std::vector<RigFlag> flags;
  std::vector<SegmentRecord> ended;
  void clear() { blocks.clear(), flags.clear(), ended.clear(); }
  bool empty() const { return blocks.empty() && flags.empty() && ended.empty(); }
};

/// Readings from number `reading` on count their time from `at`.
struct TimeJump {
  std::uint32_t reading = 0;
  BenchTime at;
  friend bool operator==(const TimeJump&, const TimeJump&) = default;
};

/// One track's readings within one segment.
struct TrackSlice {
  BenchTime first;                   ///< as in Block; the segment's start for edges and where there are no readings
  std::vector<std::int32_t> values;  ///< as in Block
  bool gap = false;                  ///< something is missing: lost, or, on a track that runs throughout, never there
  std::vector<TimeJump> jumps;       ///< where time does not simply go on: after a gap, in a second window. Mostly none
  friend bool operator==(const TrackSlice&, const TrackSlice&) = default;
};

/// All that was recorded of one segment: what a judge is given. Times of bins and samples lie in [record.start,
/// record.end); edges likewise.
struct Slice {
  SegmentRecord record;
  std::vector<TrackSlice> tracks;  ///< one per track of the plan, perhaps empty
  std::vector<RigFlag> flags;
  friend bool operator==(const Slice&, const Slice&) = default;
};

/// Cuts the stream of chunks into slices, one per segment in playing order. Holds no more than the segments under way.
/// Bins and samples belong to the segment they start in, edges to that of their own time, bytes to that of their
/// block's. What lies before the first segment is dropped. How the stream was cut into chunks and blocks leaves no
/// trace.
class Slicer {
 public:
  explicit Slicer(std::vector<TrackInfo> tracks, std::uint32_t tick_rate);
  Slicer(Slicer&&) = default;
  Slicer& operator=(Slicer&&) = default;
  /// Takes a chunk in; hands out every slice that is now complete, in order. The slices are the caller's to change or
  /// move from, and are reused by the next call.
  std::span<Slice> take(const Chunk& chunk);

 private:
  /// How far a block has been read.
  struct Cursor {
    const Block* block = nullptr;
    std::uint32_t done = 0;  ///< readings
    std::int64_t tick = 0;   ///< edges: what the next delta counts from
    bool held = false;       ///< the block is one of the lane's own
  };
  /// One track on its way.
  struct Lane {
    std::list<Block> held;          ///< left over from earlier chunks; they must not move
    std::vector<Cursor> cursors;    ///< the held blocks, then this chunk's
    std::size_t at = 0;             ///< the cursor to read next
    std::optional<BenchTime> seen;  ///< where the last reading that was handed out ended
  };
  void queue(const Chunk& chunk);
  void cut(const SegmentRecord& record, Slice& slice);
  void cut_series(const TrackInfo& info, Lane& lane, const SegmentRecord& record, TrackSlice& slice) const;
  void cut_edges(Lane& lane, const SegmentRecord& record, TrackSlice& slice) const;
  void cut_bytes(Lane& lane, const SegmentRecord& record, TrackSlice& slice) const;
  void keep_rest();
  std::vector<TrackInfo> tracks_;
  std::uint32_t tick_rate_;
  std::vector<Lane> lanes_;
  std::vector<RigFlag> flags_;
  std::vector<Slice> done_;
};

/// One bin of an envelope in physical units, before calibration.
struct EnvelopeBin {
  double low, high, mean;
};
/// Reads bin `i` of an envelope slice.
EnvelopeBin envelope_bin(const TrackInfo& info, const TrackSlice& slice, std::size_t i);
/// When reading `i` of a samples, triggered or envelope slice was taken, before any correction for skew.
BenchTime reading_time(const TrackInfo& info, const TrackSlice& slice, std::size_t i);
/// Edges of a slice as absolute times and levels.
struct RecordedEdge {
  BenchTime at;
  bool rising;
};
std::vector<RecordedEdge> recorded_edges(const TrackSlice& slice, std::uint32_t tick_rate);

/// How a session ended, and whether its outputs are known to be safe.
struct EndState {
  enum class Reason : std::uint8_t { completed, stopped, fault } reason = Reason::completed;
  std::string text;             ///< why, when stopped or faulty
  bool outputs_safe = false;    ///< confirmed by the bench
  std::optional<Volts> supply;  ///< read back; under 0.5 V before anyone is told to remove the unit
};

}  // namespace rig
