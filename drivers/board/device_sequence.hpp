#pragma once

#include <cstdint>
#include <deque>
#include <vector>

namespace drivers::board {

/// The numbering of one session's commands: taken in order only, the last replies kept to be repeated.
class DeviceSequence {
 public:
  void restart() { *this = {}; }
  enum class Verdict { next, repeat, out_of_order };
  Verdict judge(std::uint16_t sequence) const;
  std::uint16_t expected() const { return expected_; }
  /// The reply to a command that is to be repeated. REQUIRES: judge(sequence) == repeat.
  const std::vector<std::uint8_t>& reply_to(std::uint16_t sequence) const;
  /// The expected command was carried out or refused with this reply: the next is expected.
  void answered(std::vector<std::uint8_t> reply);

 private:
  static constexpr std::size_t kKept = 8;
  struct Reply {
    std::uint16_t sequence;
    std::vector<std::uint8_t> coded;
  };
  const Reply* find(std::uint16_t sequence) const;
  std::uint16_t expected_ = 1;
  std::deque<Reply> kept_;
};

}  // namespace drivers::board
