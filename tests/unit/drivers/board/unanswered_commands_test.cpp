#include "drivers/board/unanswered_commands.hpp"

#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using drivers::board::UnansweredCommands;

namespace {

UnansweredCommands::Command command(std::uint16_t sequence) {
  return {sequence, {static_cast<std::uint8_t>(sequence)}, "go on"};
}

}  // namespace

TEST_CASE("a command without an answer is sent again every 50 ms, oldest first", "[board][commands]") {
  UnansweredCommands commands;
  commands.add(command(7), 0ms);
  commands.add(command(8), 20ms);
  CHECK(commands.due(49ms).empty());
  CHECK(commands.due(50ms).size() == 1);
  const auto both = commands.due(120ms);
  REQUIRE(both.size() == 2);
  CHECK(both[0]->front() == 7);
  CHECK(both[1]->front() == 8);
}

TEST_CASE("its answer ends the asking, whichever comes first, and once", "[board][commands]") {
  UnansweredCommands commands;
  commands.add(command(7), 0ms);
  commands.add(command(8), 0ms);
  CHECK(commands.answered(8).value().sequence == 8);
  CHECK_FALSE(commands.answered(8));
  CHECK_FALSE(commands.answered(9));
  CHECK(commands.due(50ms).size() == 1);
  CHECK(commands.answered(7));
  CHECK(commands.empty());
}

TEST_CASE("no more than seven are on their way, so that one more can be waited for", "[board][commands]") {
  UnansweredCommands commands;
  for (std::uint16_t sequence = 1; sequence <= 7; ++sequence) {
    CHECK_FALSE(commands.full());
    commands.add(command(sequence), 0ms);
  }
  CHECK(commands.full());
}

TEST_CASE("a board that answers neither in two seconds nor in twenty tries is given up", "[board][commands]") {
  UnansweredCommands commands;
  commands.add(command(7), 0ms);
  for (int tries = 0; tries < 25; ++tries) commands.due(tries * 50ms);
  CHECK_FALSE(commands.given_up(1'500ms));
  REQUIRE(commands.given_up(2'001ms));
  CHECK(commands.given_up(2'001ms)->sequence == 7);
}
