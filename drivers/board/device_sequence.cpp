#include "drivers/board/device_sequence.hpp"

#include <utility>

namespace drivers::board {

const DeviceSequence::Reply* DeviceSequence::find(std::uint16_t sequence) const {
  for (const Reply& reply : kept_)
    if (reply.sequence == sequence) return &reply;
  return nullptr;
}

DeviceSequence::Verdict DeviceSequence::judge(std::uint16_t sequence) const {
  if (sequence == expected_) return Verdict::next;
  return find(sequence) ? Verdict::repeat : Verdict::out_of_order;
}

const std::vector<std::uint8_t>& DeviceSequence::reply_to(std::uint16_t sequence) const {
  return find(sequence)->coded;
}

void DeviceSequence::answered(std::vector<std::uint8_t> reply) {
  kept_.push_back({expected_, std::move(reply)});
  if (kept_.size() > kKept) kept_.pop_front();
  expected_ = expected_ == 0xFFFF ? 1 : static_cast<std::uint16_t>(expected_ + 1);
}

}  // namespace drivers::board
