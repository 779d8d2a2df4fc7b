#include "tests/unit/drivers/board/scripted_rig.hpp"

using namespace drivers::board;

TEST_CASE("a queue smaller than the timeline is never overrun and never starves", "[board][session][queue]") {
  Rig rig{[](ScriptedBoard& board) { board.hello.queue_entries = 24; }};  // eight segments of three entries
  check_whole(rig.play(many(200, 50ms)), 200, 50);
  CHECK_FALSE(rig.board->overrun);
  CHECK(rig.board->most_held == 24);
}

TEST_CASE("before the start no more than half a second is loaded", "[board][session][queue]") {
  std::size_t before_start = 0;
  Rig rig{[&](ScriptedBoard& board) {
    board.to_board = [&](const Message& message) {
      if (std::holds_alternative<Start>(message)) before_start = board.entries.size();
      return Fate::arrives;
    };
  }};
  rig.play(many(100, 50ms));
  CHECK(before_start == 10 * 3);
}

TEST_CASE("a segment that no queue of this board can hold is refused in words", "[board][session][queue]") {
  Rig rig{[](ScriptedBoard& board) { board.hello.queue_entries = 24; }};
  rig::Segment long_one = fixed(0, 1s);
  for (int i = 1; i < 50; ++i) long_one.events.push_back({i * 1ms, rig::SetOutput{kSource, rig::Volts{1}}});
  CHECK_THAT(fault_of([&] { rig.play({long_one}); }), Catch::Contains("segment 0 has 52 entries") &&
                                                          Catch::Contains("holds 24") &&
                                                          Catch::Contains("shorter segments"));
}
