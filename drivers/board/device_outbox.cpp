#include "drivers/board/device_outbox.hpp"

#include <algorithm>

namespace drivers::board {
namespace {
constexpr std::size_t kMostBytes = 64 * 1024;
}

bool DeviceOutbox::add(std::vector<std::uint8_t> coded, rig::Nanoseconds now) {
  if (bytes_ + coded.size() > kMostBytes) return false;
  bytes_ += coded.size();
  frames_.push_back({now + latency_, std::move(coded)});
  return true;
}

bool DeviceOutbox::take(std::vector<std::uint8_t>& out, rig::Nanoseconds now) {
  if (frames_.empty() || frames_.front().due > now) return false;
  const auto& coded = frames_.front().coded;
  out.insert(out.end(), coded.begin(), coded.end());
  bytes_ -= coded.size();
  frames_.pop_front();
  return true;
}

std::optional<rig::Nanoseconds> DeviceOutbox::next_due() const {
  if (frames_.empty()) return {};
  return frames_.front().due;
}

void DeviceOutbox::sent(std::size_t bytes, rig::Nanoseconds now) {
  if (baud_ == 0) return;
  const auto lasts = static_cast<std::int64_t>(bytes) * 10 * 1'000'000'000 / baud_;
  busy_until_ = std::max(busy_until_, now) + rig::Nanoseconds{lasts};
}

}  // namespace drivers::board
