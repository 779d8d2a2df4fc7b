#include "drivers/board/link_health.hpp"

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kSpan = std::chrono::seconds{10};
constexpr std::size_t kMostInSpan = 3, kTooMany = 10;

}  // namespace

bool LinkHealth::bad(std::size_t count, rig::Nanoseconds now) {
  total_ += count;
  recent_.insert(recent_.end(), count, now);
  while (!recent_.empty() && now - recent_.front() > kSpan) recent_.pop_front();
  if (recent_.size() > kMostInSpan || total_ >= kTooMany) failed_ = true;
  return failed_;
}

}  // namespace drivers::board
