#pragma once

#include <cstdint>
#include <deque>
#include <optional>
#include <string>
#include <vector>

#include "drivers/board/message_words.hpp"
#include "rig/core/quantity.hpp"

namespace drivers::board {

/// Commands on their way whose replies nobody waits for: each is sent again, under its own number, until its reply has
/// come, so that a lost frame costs a moment and not the run. Pure: it is told of replies and the time.
class UnansweredCommands {
 public:
  struct Command {
    std::uint16_t sequence = 0;
    std::vector<std::uint8_t> coded;        ///< as it goes on the wire
    std::string to_do;                      ///< completes "it did not ..."
    std::vector<ErrorCode> no_matter = {};  ///< refusals that change nothing
    rig::Nanoseconds first_sent{0}, last_sent{0};
    int times = 1;
  };

  void clear() { commands_.clear(); }
  bool empty() const { return commands_.empty(); }
  /// With one more that is waited for, a host may have eight.
  bool full() const { return commands_.size() >= 7; }
  /// REQUIRES: it has been sent once, at `now`.
  void add(Command command, rig::Nanoseconds now);
  /// The command that a reply is to, which is done with now; nothing: it is to none of these.
  std::optional<Command> answered(std::uint16_t sequence);
  /// The bytes to send again now, oldest first; they stay valid until the next call of another function.
  std::vector<const std::vector<std::uint8_t>*> due(rig::Nanoseconds now);
  /// The oldest one once it was repeated for so long that the board must be at fault.
  const Command* given_up(rig::Nanoseconds now) const;

 private:
  std::deque<Command> commands_;
};

}  // namespace drivers::board
