#include <cmath>
#include <random>

#include "tests/unit/drivers/board/scripted_rig.hpp"

using namespace drivers::board;

TEST_CASE("the host ends a segment once it has settled when the board cannot", "[board][session][until]") {
  Rig rig{[](ScriptedBoard& board) {
    board.code = [](unsigned, std::uint64_t tick) {  // 2 V, reached with a time constant of 4 ms from 100 ms on
      const double t = (static_cast<double>(tick) - 1'000'000) / 10'000'000.0;
      return static_cast<std::int32_t>(t < 0 ? 0 : std::lround(2000 * (1 - std::exp(-t / 0.004))));
    };
  }};
  const auto played = rig.play({fixed(0, 100ms), until_settled(1, 5ms, 500ms), fixed(2, 20ms)});
  REQUIRE(played.slices.size() == 3);
  const rig::SegmentRecord& record = played.slices[1].record;
  CHECK(record.reason == rig::SegmentEnd::settled);
  REQUIRE(record.settled.size() == 1);
  REQUIRE(record.settled[0]);
  CHECK(*record.settled[0] > 20ms);
  CHECK(*record.settled[0] < 50ms);
  CHECK(record.end - record.start >= *record.settled[0]);
  CHECK(record.end - record.start < *record.settled[0] + 10ms);
  CHECK(rig.board->advanced == std::vector<std::uint32_t>{1});
  CHECK(played.slices[2].record.start == record.end);
}

TEST_CASE("what never settles ends as timed out, and is not advanced", "[board][session][until]") {
  Rig rig{[](ScriptedBoard& board) {
    board.code = [](unsigned, std::uint64_t tick) { return static_cast<std::int32_t>(tick / 10'000 % 2 * 100); };
  }};
  const auto played = rig.play({until_settled(0, 0ms, 100ms), fixed(1, 20ms)});
  REQUIRE(played.slices.size() == 2);
  CHECK(played.slices[0].record.reason == rig::SegmentEnd::timed_out);
  CHECK(rig.board->advanced.empty());
}

TEST_CASE("nothing settles before the latency that was stated", "[board][session][until]") {
  Rig rig;  // a constant from the start
  const auto played = rig.play({until_settled(0, 60ms, 500ms), fixed(1, 20ms)});
  REQUIRE(played.slices.size() == 2);
  CHECK(*played.slices[0].record.settled.at(0) == 70ms);  // the first whole window after it
}

TEST_CASE("one frame in ten lost each way costs a host that must say advance no run and no reading",
          "[board][session][until][loss]") {
  const auto seed = GENERATE(1u, 2u, 3u, 4u, 5u);
  INFO("seed " << seed);
  std::mt19937 random{seed};
  int lost_answers = 0;
  const auto one_in_ten = [&](const Message& message) {
    const bool lost = random() % 10 == 0;
    if (lost && number_of(message) == (Advance::kNumber | 0x80)) ++lost_answers;
    return lost ? Fate::lost : Fate::arrives;
  };
  constexpr std::uint32_t kSegments = 200;
  Rig rig{[&](ScriptedBoard& board) { board.hello.queue_entries = 48; }};
  rig.board->to_board = rig.board->to_host = one_in_ten;
  std::vector<rig::Segment> segments;
  for (std::uint32_t id = 0; id < kSegments; ++id) segments.push_back(until_settled(id, 0ms, 400ms));
  const auto played = rig.play(segments);
  CHECK(played.end.reason == rig::EndState::Reason::completed);
  REQUIRE(played.slices.size() == kSegments);
  std::uint32_t settled = 0;
  for (const rig::Slice& slice : played.slices) {
    settled += slice.record.reason == rig::SegmentEnd::settled;
    CHECK_FALSE(slice.tracks[0].gap);
  }
  CHECK(settled == kSegments);
  CHECK(lost_answers > 10);
}

TEST_CASE("an advance that came too late, or after the end, is no trouble", "[board][session][until]") {
  const auto code = GENERATE(ErrorCode::no_such_segment, ErrorCode::wrong_state, ErrorCode::wrong_epoch);
  Rig rig{[&](ScriptedBoard& board) {
    board.refuse[Advance::kNumber] = Error{Advance::kNumber, code, State::playing, 0, ""};
  }};
  const auto played = rig.play({until_settled(0, 0ms, 100ms), fixed(1, 20ms)});
  REQUIRE(played.slices.size() == 2);
  CHECK(played.end.reason == rig::EndState::Reason::completed);
}

TEST_CASE("a board that cannot advance at all is a fault in words", "[board][session][until]") {
  Rig rig{[&](ScriptedBoard& board) {
    board.refuse[Advance::kNumber] = Error{Advance::kNumber, ErrorCode::board_fault, State::playing, 0, "broken"};
  }};
  CHECK_THAT(fault_of([&] {
               rig.play({until_settled(0, 0ms, 400ms), fixed(1, 20ms)});
             }),
             Catch::Contains("it refused to go on to the next segment") && Catch::Contains("broken"));
}

TEST_CASE("a host that hears no status of a segment still sees it settle", "[board][session][until][loss]") {
  int statuses = 0;
  Rig rig;
  rig.board->to_host = [&](const Message& message) {  // all but a few of the heartbeats' answers are lost
    const auto* status = std::get_if<Status>(&message);
    return status && status->state == State::playing && ++statuses % 8 != 0 ? Fate::lost : Fate::arrives;
  };
  std::vector<rig::Segment> segments;
  for (std::uint32_t id = 0; id < 10; ++id) segments.push_back(until_settled(id, 0ms, 60ms));
  const auto played = rig.play(segments);
  REQUIRE(played.slices.size() == 10);
  for (std::size_t i = 1; i < 10; ++i) CHECK(played.slices[i].record.reason == rig::SegmentEnd::settled);
}
