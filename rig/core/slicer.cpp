#include <algorithm>
#include <utility>

#include "rig/core/recording.hpp"
#include "rig/core/tick_time.hpp"

namespace rig {
namespace {

constexpr std::int64_t kLongestDelta = (std::int64_t{1} << 30) - 1;  ///< ticks; the level takes the last bit

std::size_t width(CaptureKind kind) { return kind == CaptureKind::envelope ? 3 : 1; }

/// Readings of a block that are really there, whatever it claims.
std::uint32_t usable(const Block& block, std::size_t each) {
  return static_cast<std::uint32_t>(std::min<std::size_t>(block.count, block.values.size() / each));
}

/// How many periods fit before `distance` is reached: none when it is not ahead.
std::int64_t periods_in(Nanoseconds distance, Nanoseconds period) {
  return distance.count() <= 0 ? 0 : (distance.count() + period.count() - 1) / period.count();
}

/// Was something lost within the segment before this block, whose own readings begin at `resumes`?
bool lost_within(const Block& block, BenchTime resumes, const std::optional<BenchTime>& seen,
                 const SegmentRecord& record) {
  return block.dropped_before > 0 && resumes > record.start && (!seen || *seen < record.end);
}

void append(std::vector<std::int32_t>& to, const std::vector<std::int32_t>& from, std::size_t begin,
            std::size_t count) {
  const auto first = from.begin() + static_cast<std::ptrdiff_t>(begin);
  to.insert(to.end(), first, first + static_cast<std::ptrdiff_t>(count));
}

}  // namespace

Slicer::Slicer(std::vector<TrackInfo> tracks, std::uint32_t tick_rate)
    : tracks_{std::move(tracks)}, tick_rate_{tick_rate}, lanes_(tracks_.size()) {
  for (TrackInfo& info : tracks_) info.track.period = std::max(info.track.period, Nanoseconds{1});
}

std::span<Slice> Slicer::take(const Chunk& chunk) {
  queue(chunk);
  std::size_t complete = 0;
  for (const SegmentRecord& record : chunk.ended) {
    if (complete == done_.size()) done_.emplace_back();
    cut(record, done_[complete++]);
  }
  keep_rest();
  return {done_.data(), complete};
}

void Slicer::queue(const Chunk& chunk) {
  for (const Block& block : chunk.blocks) {
    if (index(block.track) >= lanes_.size()) continue;  // no track of ours: a throughout track's gap will show
    lanes_[index(block.track)].cursors.push_back({&block, 0, nearest_tick(block.first, tick_rate_), false});
  }
  flags_.insert(flags_.end(), chunk.flags.begin(), chunk.flags.end());
}

void Slicer::cut(const SegmentRecord& record, Slice& slice) {
  slice.record = record;
  slice.tracks.resize(tracks_.size());
  for (std::size_t i = 0; i < tracks_.size(); ++i) {
    TrackSlice& track = slice.tracks[i];
    track.first = record.start;
    track.values.clear();
    track.jumps.clear();
    track.gap = false;
    switch (tracks_[i].track.kind) {
      case CaptureKind::edges:
        cut_edges(lanes_[i], record, track);
        break;
      case CaptureKind::bytes:
        cut_bytes(lanes_[i], record, track);
        break;
      default:
        cut_series(tracks_[i], lanes_[i], record, track);
    }
  }
  slice.flags.clear();
  const auto later =
      std::stable_partition(flags_.begin(), flags_.end(), [&](const RigFlag& flag) { return flag.at < record.end; });
  std::move(flags_.begin(), later, std::back_inserter(slice.flags));
  flags_.erase(flags_.begin(), later);
}

void Slicer::cut_series(const TrackInfo& info, Lane& lane, const SegmentRecord& record, TrackSlice& slice) const {
  const Nanoseconds period = info.track.period;
  const std::size_t each = width(info.track.kind);
  for (; lane.at < lane.cursors.size(); ++lane.at) {
    Cursor& cursor = lane.cursors[lane.at];
    const Block& block = *cursor.block;
    const std::uint32_t count = usable(block, each);
    if (cursor.done == 0 && lost_within(block, block.first, lane.seen, record)) slice.gap = true;
    const auto left = [&] { return static_cast<std::int64_t>(count - cursor.done); };
    BenchTime at = block.first + period * static_cast<std::int64_t>(cursor.done);
    const auto early = std::min(periods_in(record.start - at, period), left());
    cursor.done += static_cast<std::uint32_t>(early);
    at = at + period * early;
    const auto taken = std::min(periods_in(record.end - at, period), left());
    if (taken > 0) {
      const bool goes_on = lane.seen && std::chrono::abs(at - *lane.seen) <= period / 2;
      if (slice.values.empty()) {
        slice.first = at;
      } else if (!goes_on) {
        slice.jumps.push_back({static_cast<std::uint32_t>(slice.values.size() / each), at});
        slice.gap |= info.track.throughout;
      }
      append(slice.values, block.values, cursor.done * each, static_cast<std::size_t>(taken) * each);
      cursor.done += static_cast<std::uint32_t>(taken);
      lane.seen = at + period * taken;
    }
    if (cursor.done < count) break;
    if (block.first >= record.end) break;
    if (count < block.count) slice.gap = true;  // it claims more than it holds
  }
  if (!info.track.throughout) return;
  // Readings at any phase must leave no room for one more, neither at the start nor at the end.
  const bool none = slice.values.empty();
  const BenchTime until = none ? record.start : *lane.seen;
  const bool late = none ? record.end - record.start >= period : slice.first - record.start >= period;
  const bool short_of_end = !none && until + info.clock.resolution < record.end;
  if (late || (short_of_end && record.reason != SegmentEnd::stopped)) slice.gap = true;
}

void Slicer::cut_edges(Lane& lane, const SegmentRecord& record, TrackSlice& slice) const {
  const std::int64_t start = first_tick_from(record.start, tick_rate_), end = first_tick_from(record.end, tick_rate_);
  std::int64_t before = start;
  slice.first = time_of_tick(start, tick_rate_);
  for (; lane.at < lane.cursors.size(); ++lane.at) {
    Cursor& cursor = lane.cursors[lane.at];
    const Block& block = *cursor.block;
    const std::uint32_t count = usable(block, 1);
    const std::int64_t to_first = count > 0 ? static_cast<std::uint32_t>(block.values[0]) >> 1 : 0;
    if (cursor.done == 0 && lost_within(block, time_of_tick(cursor.tick + to_first, tick_rate_), lane.seen, record))
      slice.gap = true;
    if (cursor.done == 0 && block.first >= record.end) break;
    for (; cursor.done < count; ++cursor.done) {
      const auto code = static_cast<std::uint32_t>(block.values[cursor.done]);
      const std::int64_t tick = cursor.tick + (code >> 1);
      if (tick >= end) break;
      cursor.tick = tick;
      if (tick < start) continue;
      if (tick - before > kLongestDelta) {
        slice.jumps.push_back({static_cast<std::uint32_t>(slice.values.size()), time_of_tick(tick, tick_rate_)});
        before = tick;
      }
      slice.values.push_back(static_cast<std::int32_t>((tick - before) << 1 | (code & 1)));
      before = tick;
      lane.seen = time_of_tick(tick, tick_rate_);
    }
    if (cursor.done < count) break;
    if (count < block.count) slice.gap = true;
  }
}

void Slicer::cut_bytes(Lane& lane, const SegmentRecord& record, TrackSlice& slice) const {
  for (; lane.at < lane.cursors.size(); ++lane.at) {
    const Block& block = *lane.cursors[lane.at].block;
    if (lost_within(block, block.first, lane.seen, record)) slice.gap = true;
    if (block.first >= record.end) break;
    if (block.first < record.start) continue;
    if (slice.values.empty()) slice.first = block.first;
    const std::uint32_t count = usable(block, 1);
    if (count < block.count) slice.gap = true;
    append(slice.values, block.values, 0, count);
    lane.seen = block.first;
  }
}

void Slicer::keep_rest() {
  for (Lane& lane : lanes_) {
    for (std::size_t i = 0; i < lane.at; ++i) {
      if (lane.cursors[i].held) lane.held.pop_front();
    }
    lane.cursors.erase(lane.cursors.begin(), lane.cursors.begin() + static_cast<std::ptrdiff_t>(lane.at));
    lane.at = 0;
    // Blocks of the chunk die with it: what is left of them is copied.
    for (Cursor& cursor : lane.cursors) {
      if (!std::exchange(cursor.held, true)) cursor.block = &lane.held.emplace_back(*cursor.block);
    }
  }
}

}  // namespace rig
