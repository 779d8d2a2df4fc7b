#include "drivers/board/device_recorder.hpp"

#include <algorithm>
#include <utility>
#include <variant>

#include "drivers/board/device_ticks.hpp"
#include "drivers/link/frame.hpp"

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kLongestWait{5'000'000};            ///< PROTOCOL.md section 6
constexpr rig::Nanoseconds kTogether{1'000'000};               ///< blocks that end this close share a frame
constexpr std::size_t kRoom = kMaxPayload - kBlocksHead - 16;  ///< for one block's values

/// How many readings of a format surely fit one frame.
std::size_t most_in_frame(BlockFormat format) {
  switch (format) {
    case BlockFormat::u8:
      return kRoom;
    case BlockFormat::i16:
      return kRoom / 2;
    case BlockFormat::i24:
      return kRoom / 3;
    case BlockFormat::envelope_packed:
      return kRoom / 7;
    case BlockFormat::envelope_wide:
      return kRoom / 12;
    case BlockFormat::edges:
      return kRoom / 5;
    default:
      return kRoom / 4;
  }
}

}  // namespace

struct DeviceRecorder::Item {
  rig::Nanoseconds key;    ///< goes out once this has passed, in this order
  int rank;                ///< at one time: blocks, flags, records
  rig::Nanoseconds begin;  ///< a block's
  std::variant<WireBlock, const rig::RigFlag*, const rig::SegmentRecord*> what;
};

DeviceRecorder::DeviceRecorder(DeviceFrames& frames, std::vector<rig::TrackInfo> tracks, Wire wire)
    : frames_{frames}, tracks_{std::move(tracks)}, wire_{wire}, block_numbers_(tracks_.size()) {}

std::uint64_t DeviceRecorder::ticks(rig::Nanoseconds t) const {
  return ticks_of(std::max(t, rig::Nanoseconds{0}), wire_.tick_rate);
}

void DeviceRecorder::take(const rig::Chunk& chunk) {
  std::vector<Item> items;
  for (const rig::Block& block : chunk.blocks) cut(block, items);
  const std::size_t blocks = items.size();
  for (const rig::RigFlag& flag : chunk.flags) items.push_back({flag.at.since_start(), 1, {}, &flag});
  for (const rig::SegmentRecord& record : chunk.ended) {
    rig::Nanoseconds key = record.end.since_start();
    reached_ = std::max(reached_, key);
    for (std::size_t i = 0; i < blocks; ++i)
      if (items[i].begin < record.end.since_start()) key = std::max(key, items[i].key);
    items.push_back({key, 2, {}, &record});
  }
  std::stable_sort(items.begin(), items.end(), [](const Item& a, const Item& b) {
    return std::pair{a.key, a.rank} < std::pair{b.key, b.rank};
  });
  for (Item& item : items) {
    if (auto* const block = std::get_if<WireBlock>(&item.what))
      put(std::move(*block), item.key);
    else if (auto* const flag = std::get_if<const rig::RigFlag*>(&item.what))
      put(**flag);
    else
      put(*std::get<const rig::SegmentRecord*>(item.what), item.key);
  }
  flush();
}

void DeviceRecorder::take(const rig::RigFlag& flag) { put(flag); }

void DeviceRecorder::cut(const rig::Block& block, std::vector<Item>& items) {
  const std::uint16_t track = index(block.track);
  if (track >= tracks_.size()) return;
  const auto kind = static_cast<std::uint8_t>(tracks_[track].track.kind);
  WireBlock piece;
  piece.track = track;
  piece.format = smallest_format(kind, block.values);
  piece.dropped_before = block.dropped_before;
  const std::size_t most = most_in_frame(piece.format);
  if (piece.format == BlockFormat::edges)
    cut_edges(block, std::move(piece), most, items);
  else
    cut_series(block, std::move(piece), most, items);
}

void DeviceRecorder::cut_series(const rig::Block& block, WireBlock piece, std::size_t most, std::vector<Item>& items) {
  const rig::Track& track = tracks_[piece.track].track;
  const std::size_t each = track.kind == rig::CaptureKind::envelope ? 3 : 1;
  // The bytes of one reply have one time, whatever their number.
  const rig::Nanoseconds period = track.kind == rig::CaptureKind::bytes ? rig::Nanoseconds{0} : track.period;
  if (wire_.paced && period.count() > 0)
    most = std::clamp<std::size_t>(static_cast<std::size_t>(kLongestWait / period), 1, most);
  const std::size_t count = block.values.size() / each;
  std::size_t done = 0;
  do {
    const std::size_t part = std::min(most, count - done);
    const rig::Nanoseconds begin = block.first.since_start() + period * static_cast<std::int64_t>(done);
    piece.first = static_cast<std::int64_t>(ticks(begin));
    piece.count = static_cast<std::uint16_t>(part);
    const auto from = block.values.begin() + static_cast<std::ptrdiff_t>(done * each);
    piece.values.assign(from, from + static_cast<std::ptrdiff_t>(part * each));
    add_piece(piece, begin, begin + period * static_cast<std::int64_t>(part), items);
    piece.dropped_before = 0;
    done += part;
  } while (done < count);
}

void DeviceRecorder::cut_edges(const rig::Block& block, WireBlock piece, std::size_t most, std::vector<Item>& items) {
  const rig::Nanoseconds begin = block.first.since_start();
  std::uint64_t tick = ticks(begin);
  std::uint64_t cut_at = tick;
  const std::uint64_t longest = ticks_of(kLongestWait, wire_.tick_rate);
  piece.first = static_cast<std::int64_t>(tick);
  const auto close = [&] {
    piece.count = static_cast<std::uint16_t>(piece.values.size());
    add_piece(piece, time_of(static_cast<std::uint64_t>(piece.first), wire_.tick_rate),
              time_of(tick + 1, wire_.tick_rate), items);
    piece.first = static_cast<std::int64_t>(tick);  // the next delta counts from here
    piece.values.clear();
    piece.dropped_before = 0;
  };
  for (const std::int32_t code : block.values) {
    const std::uint64_t at = tick + (static_cast<std::uint32_t>(code) >> 1);
    const bool too_late = wire_.paced && at - cut_at > longest && !piece.values.empty();
    if (too_late || piece.values.size() >= most) close();
    if (piece.values.empty()) cut_at = at;
    piece.values.push_back(code);
    tick = at;
  }
  close();
}

void DeviceRecorder::add_piece(WireBlock piece, rig::Nanoseconds begin, rig::Nanoseconds end,
                               std::vector<Item>& items) {
  reached_ = std::max(reached_, end);
  piece.block = block_numbers_[piece.track]++;
  items.push_back({end, 0, begin, std::move(piece)});
}

void DeviceRecorder::put(WireBlock&& block, rig::Nanoseconds end) {
  const std::size_t size = wire_size(block);
  const bool full = open_size_ + size > kMaxPayload || open_.blocks.size() == 255;
  if (!open_.blocks.empty() && (full || (wire_.paced && end > open_first_ + kTogether))) flush();
  if (open_.blocks.empty()) {
    open_.base = static_cast<std::uint64_t>(block.first);
    open_size_ = kBlocksHead;
    open_first_ = end;
  }
  open_size_ += size;
  open_last_ = end;
  open_.blocks.push_back(std::move(block));
}

void DeviceRecorder::put(const rig::RigFlag& flag) {
  flush();
  Flag made{wire_.epoch, frames_.next(), static_cast<std::uint8_t>(flag.kind), ticks(flag.at.since_start()),
            kNoPort,     flag.text};
  if (flag.port) made.port = index(*flag.port);
  send(std::move(made), false, flag.at.since_start());
}

void DeviceRecorder::put(const rig::SegmentRecord& record, rig::Nanoseconds due) {
  flush();
  Record made{wire_.epoch,
              frames_.next(),
              record.id,
              ticks(record.start.since_start()),
              ticks(record.end.since_start()),
              static_cast<std::uint8_t>(record.reason),
              {}};
  for (const auto& settled : record.settled)
    made.settled.push_back(settled ? static_cast<std::int64_t>(ticks(*settled)) : -1);
  send(std::move(made), false, due);
}

void DeviceRecorder::flush() {
  if (open_.blocks.empty()) return;
  open_.epoch = wire_.epoch;
  open_.number = frames_.next();
  send(std::exchange(open_, {}), true, open_last_);
}

void DeviceRecorder::send(Message message, bool is_block, rig::Nanoseconds due) {
  frames_.add(link::encode_frame(encode({wire_.session, 0, std::move(message)})), is_block, due);
}

}  // namespace drivers::board
