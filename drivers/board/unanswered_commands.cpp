#include "drivers/board/unanswered_commands.hpp"

#include <algorithm>
#include <chrono>
#include <utility>

namespace drivers::board {
namespace {

constexpr rig::Nanoseconds kAgain = std::chrono::milliseconds{50};
constexpr rig::Nanoseconds kLongest = std::chrono::seconds{2};
constexpr int kMostTimes = 20;  ///< at one frame lost in ten each way, once in 10^14 commands

}  // namespace

void UnansweredCommands::add(Command command, rig::Nanoseconds now) {
  command.first_sent = command.last_sent = now;
  commands_.push_back(std::move(command));
}

std::optional<UnansweredCommands::Command> UnansweredCommands::answered(std::uint16_t sequence) {
  const auto found =
      std::find_if(commands_.begin(), commands_.end(), [=](const Command& c) { return c.sequence == sequence; });
  if (found == commands_.end()) return std::nullopt;
  Command done = std::move(*found);
  commands_.erase(found);
  return done;
}

std::vector<const std::vector<std::uint8_t>*> UnansweredCommands::due(rig::Nanoseconds now) {
  std::vector<const std::vector<std::uint8_t>*> again;
  for (Command& command : commands_) {
    if (now - command.last_sent < kAgain) continue;
    command.last_sent = now;
    ++command.times;
    again.push_back(&command.coded);
  }
  return again;
}

const UnansweredCommands::Command* UnansweredCommands::given_up(rig::Nanoseconds now) const {
  if (commands_.empty()) return nullptr;
  const Command& oldest = commands_.front();
  return oldest.times > kMostTimes && now - oldest.first_sent > kLongest ? &oldest : nullptr;
}

}  // namespace drivers::board
