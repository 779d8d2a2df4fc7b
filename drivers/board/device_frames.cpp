#include "drivers/board/device_frames.hpp"

#include <algorithm>

namespace drivers::board {
namespace {
constexpr std::size_t kMostRequests = 64;  ///< a host has no use for more at a time; more are a fault or malice
}

void DeviceFrames::clear() { *this = DeviceFrames{resend_bytes_}; }

void DeviceFrames::add(std::vector<std::uint8_t> coded, bool is_block, rig::Nanoseconds due) {
  if (!frames_.empty()) due = std::max(due, frames_.back().due);
  held_bytes_ += coded.size();
  unsent_bytes_ += coded.size();
  frames_.push_back({std::move(coded), is_block, due});
  while (held_bytes_ > resend_bytes_ && given_up_to_ < next()) give_up_oldest();
}

void DeviceFrames::give_up_oldest() {
  given_up_to_ = std::max(given_up_to_, base_);
  if (given_up_to_ >= next()) return;
  Frame& frame = frames_[given_up_to_ - base_];
  if (frame.is_block) {
    held_bytes_ -= frame.coded.size();
    if (given_up_to_ >= sent_) unsent_bytes_ -= frame.coded.size();
    frame.coded = {};
  }
  ++given_up_to_;
}

void DeviceFrames::release_all() {
  for (Frame& frame : frames_) frame.due = rig::Nanoseconds::min();
}

void DeviceFrames::arrived(std::uint32_t wanted) {
  while (base_ < wanted && base_ < sent_) {
    held_bytes_ -= frames_.front().coded.size();
    frames_.pop_front();
    ++base_;
  }
}

std::vector<DeviceFrames::Range> DeviceFrames::resend(std::uint32_t first, std::uint16_t count) {
  std::vector<Range> gone;
  const std::uint64_t end = std::min<std::uint64_t>(std::uint64_t{first} + count, sent_);
  for (std::uint64_t number = first; number < end; ++number) {
    if (number >= base_ && !frames_[number - base_].coded.empty()) continue;
    if (gone.empty() || gone.back().first + gone.back().count != number)
      gone.push_back({static_cast<std::uint32_t>(number), 0});
    ++gone.back().count;
  }
  if (first < end && again_.size() < kMostRequests) again_.push_back({first, static_cast<std::uint32_t>(end - first)});
  return gone;
}

void DeviceFrames::skip_given_up() {
  while (sent_ < next() && frames_[sent_ - base_].coded.empty()) ++sent_;
}

bool DeviceFrames::take(std::vector<std::uint8_t>& out, rig::Nanoseconds bench_now) {
  while (!again_.empty()) {
    Range& range = again_.front();
    const std::uint32_t number = range.first++;
    if (--range.count == 0) again_.pop_front();
    if (number < base_ || frames_[number - base_].coded.empty()) continue;
    const auto& coded = frames_[number - base_].coded;
    out.insert(out.end(), coded.begin(), coded.end());
    return true;
  }
  skip_given_up();
  if (sent_ == next() || frames_[sent_ - base_].due > bench_now) return false;
  const auto& coded = frames_[sent_ - base_].coded;
  out.insert(out.end(), coded.begin(), coded.end());
  unsent_bytes_ -= coded.size();
  ++sent_;
  return true;
}

std::optional<rig::Nanoseconds> DeviceFrames::next_due() const {
  if (!again_.empty()) return rig::Nanoseconds::min();
  if (sent_ == next()) return {};
  return frames_[sent_ - base_].due;
}

}  // namespace drivers::board
