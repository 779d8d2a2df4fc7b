#include "drivers/board/device_queue.hpp"

namespace drivers::board {

void DeviceQueue::clear() {
  segment_.clear();
  segments_.clear();
  bytes_.clear();
  handed_out_ = ended_ = 0;
  next_ = used_entries_ = used_bytes_ = begin_ = open_bytes_ = 0;
  at_end_ = sealed_ = false;
}

std::optional<DeviceQueue::Refused> DeviceQueue::take(const Queue& frame, std::span<const std::uint8_t> bytes) {
  if (frame.first > next_) return {};
  std::uint64_t number = frame.first;
  for (const Entry& entry : frame.entries) {
    const std::size_t size = std::size_t{2} + bytes[1];
    if (number == next_) {
      if (auto refused = take_one(entry, bytes.first(size))) return refused;
    }
    bytes = bytes.subspan(size);
    ++number;
  }
  return {};
}

std::optional<DeviceQueue::Refused> DeviceQueue::take_one(const Entry& entry, std::span<const std::uint8_t> bytes) {
  const auto detail = static_cast<std::uint16_t>(next_);
  const auto size = static_cast<std::uint32_t>(bytes.size());
  if (free_entries() == 0 || free_bytes() < size)
    return Refused{{ErrorCode::too_many, detail, "more entries than were free"}, false};
  if (at_end_) return Refused{{ErrorCode::grammar, detail, "an entry after the end of the timeline"}};
  if (auto refusal = segment_.take(entry)) {
    refusal->detail = detail;
    return Refused{std::move(*refusal)};
  }
  if (std::holds_alternative<SegmentBegin>(entry)) begin_ = next_, open_bytes_ = 0;
  at_end_ = std::holds_alternative<EndOfTimeline>(entry);
  if (!sealed_) bytes_.insert(bytes_.end(), bytes.begin(), bytes.end());
  ++next_, ++used_entries_;
  used_bytes_ += size, open_bytes_ += size;
  if (auto whole = segment_.completed()) segments_.push_back({std::move(*whole), begin_, next_ - begin_, open_bytes_});
  return {};
}

void DeviceQueue::ended() {
  const Whole& whole = segments_[ended_++];
  used_entries_ -= whole.entries;
  used_bytes_ -= whole.bytes;
}

void DeviceQueue::seal(link::Crc32c& digest) {
  digest.take(bytes_);
  bytes_ = {};
  sealed_ = true;
}

}  // namespace drivers::board
