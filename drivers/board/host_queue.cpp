#include "drivers/board/host_queue.hpp"

#include <algorithm>

#include "rig/core/rig_fault.hpp"

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kPreload = std::chrono::milliseconds{500};
constexpr rig::Nanoseconds kPatience =
    std::chrono::milliseconds{50};     ///< four full frames at 500 kbaud and the reply latency
constexpr std::size_t kFrameHead = 9;  ///< payload before the first entry
constexpr std::size_t kFrameRoom = kMaxPayload - kFrameHead;

}  // namespace

void HostQueue::append(std::span<const rig::Segment> segments) {
  if (segments.empty()) return;
  waiting_.push_back(segments);
  appended_ += segments.size();
}

HostQueue::Kept HostQueue::encoded(Entry entry) {
  scratch_.clear();
  append_entry(scratch_, entry);
  return {std::move(entry), static_cast<std::uint32_t>(scratch_.size()), 0};
}

void HostQueue::push(Kept kept) {
  if (!started_) append_entry(preloaded_bytes_, kept.entry);
  kept_bytes_ += kept.bytes;
  kept_.push_back(std::move(kept));
}

/// Takes up the next segment, if the board can take it whole: a part of one would lie there until there is room, and
/// fall due.
bool HostQueue::encode_next_segment() {
  if (!next_) {
    if (waiting_.empty()) return false;
    next_.emplace();
    next_->segment = &waiting_.front().front();
    waiting_.front() = waiting_.front().subspan(1);
    if (waiting_.front().empty()) waiting_.pop_front();
    std::vector<Entry> entries;
    append_entries(entries, *next_->segment, *map_);
    for (Entry& entry : entries) {
      next_->entries.push_back(encoded(std::move(entry)));
      next_->bytes += next_->entries.back().bytes;
    }
    next_->entries.front().segment_bytes = static_cast<std::uint32_t>(next_->bytes);
    if (next_->entries.size() > capacity_.entries || next_->bytes > capacity_.bytes)
      throw rig::RigFault{"the rig board",
                          "segment " + std::to_string(next_->segment->id) + " has " +
                              std::to_string(next_->entries.size()) + " entries of " + std::to_string(next_->bytes) +
                              " bytes, and the board's queue holds " + std::to_string(capacity_.entries) + " of " +
                              std::to_string(capacity_.bytes),
                          "Cut the step into shorter segments"};
  }
  if (kept_.size() + next_->entries.size() > free_entries_ || kept_bytes_ + next_->bytes > free_bytes_) {
    filling_ = false;
    return false;
  }
  begins_.emplace_back(accepted_ + static_cast<std::uint32_t>(kept_.size()), next_->segment);
  preloaded_ += rig::longest(*next_->segment);
  for (Kept& kept : next_->entries) push(std::move(kept));
  next_.reset();
  return true;
}

bool HostQueue::encode_more() {
  if (!filling_ || (!started_ && preloaded_ >= kPreload)) return false;
  if (encode_next_segment()) return true;
  if (!finished_ || end_encoded_ || next_ || !waiting_.empty() || kept_.size() >= free_entries_) return false;
  push(encoded(EndOfTimeline{}));
  end_encoded_ = true;
  return false;
}

std::optional<Queue> HostQueue::next_frame(rig::Nanoseconds now) {
  std::size_t ahead = 0;  // unsent bytes that are encoded
  for (std::size_t i = sent_ - accepted_; i < kept_.size() && ahead < kFrameRoom; ++i) ahead += kept_[i].bytes;
  while (ahead < kFrameRoom) {
    const std::size_t before = kept_.size();
    const bool more = encode_more();
    for (std::size_t i = before; i < kept_.size(); ++i) ahead += kept_[i].bytes;
    if (!more) break;
  }
  Queue frame{epoch_, sent_, {}};
  std::size_t room = kFrameRoom;
  for (std::size_t i = sent_ - accepted_; i < kept_.size() && frame.entries.size() < 255; ++i) {
    const Kept& kept = kept_[i];
    // A segment that fits a frame goes in one, so that it is there whole or not at all.
    const bool better_later = kept.segment_bytes > room && kept.segment_bytes <= kFrameRoom && !frame.entries.empty();
    if (kept.bytes > room || better_later) break;
    frame.entries.push_back(kept.entry);
    room -= kept.bytes;
  }
  if (frame.entries.empty()) return std::nullopt;
  if (sent_ == accepted_) progress_ = now;
  sent_ += static_cast<std::uint32_t>(frame.entries.size());
  return frame;
}

void HostQueue::started() {
  started_ = true;
  preloaded_bytes_ = {};
}

void HostQueue::on_status(const Status& status, rig::Nanoseconds now) {
  if (status.epoch != epoch_ || status.next < accepted_ || status.next - accepted_ > kept_.size()) return;
  if (status.next > accepted_) progress_ = now;
  for (; accepted_ < status.next; ++accepted_) {
    kept_bytes_ -= kept_.front().bytes;
    kept_.pop_front();
  }
  sent_ = std::max(sent_, accepted_);
  free_entries_ = status.free_entries;
  free_bytes_ = status.free_bytes;
  if (free_entries_ >= capacity_.entries / 2 && free_bytes_ >= capacity_.bytes / 2) filling_ = true;
}

void HostQueue::on_time(rig::Nanoseconds now) {
  if (sent_ == accepted_ || now - progress_ < kPatience) return;
  sent_ = accepted_;
  progress_ = now;
}

const rig::Segment* HostQueue::segment_at(std::uint32_t entry) const {
  const auto found =
      std::find_if(begins_.begin(), begins_.end(), [entry](const auto& begin) { return begin.first == entry; });
  return found == begins_.end() ? nullptr : found->second;
}

std::optional<std::pair<std::uint32_t, const rig::Segment*>> HostQueue::recorded(std::uint32_t id) {
  const auto found =
      std::find_if(begins_.begin(), begins_.end(), [id](const auto& begin) { return begin.second->id == id; });
  if (found != begins_.end()) begins_.erase(begins_.begin(), std::next(found));
  if (begins_.empty()) return std::nullopt;
  return begins_.front();
}

}  // namespace drivers::board
