#include "tests/unit/drivers/board/scripted_rig.hpp"

using namespace drivers::board;
using drivers::Progress;

TEST_CASE("stop makes the outputs safe at once, and what was seen still comes", "[board][session][stop]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig::Chunk chunk;
  std::vector<rig::SegmentRecord> ended;
  int chunks = 0;
  while (session->next(chunk) != Progress::ended) {
    ended.insert(ended.end(), chunk.ended.begin(), chunk.ended.end());
    if (++chunks == 130) {
      session->stop("the operator pressed stop");
      CHECK(rig.board->state == State::safe);
      session->stop("again");
    }
  }
  REQUIRE(ended.size() == 3);
  CHECK(ended.back().reason == rig::SegmentEnd::stopped);
  const auto end = session->close();
  CHECK(end.reason == rig::EndState::Reason::stopped);
  CHECK(end.text == "the operator pressed stop");
  CHECK(end.outputs_safe);
}

TEST_CASE("a stop that is lost is said again until the board is safe", "[board][session][stop]") {
  int stops = 0;
  Rig rig{[&](ScriptedBoard& board) {
    board.to_board = [&](const Message& m) {
      return std::holds_alternative<Stop>(m) && ++stops < 4 ? Fate::lost : Fate::arrives;
    };
  }};
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  session->stop("enough");
  const auto stopped_at = rig.board->now();
  rig::Chunk chunk;
  while (session->next(chunk) != Progress::ended) {
  }
  CHECK(rig.board->now() - stopped_at < 100ms);
  CHECK(session->close().outputs_safe);
}

TEST_CASE("a session can be closed before anything was played", "[board][session]") {
  Rig rig;
  SECTION("untouched") { CHECK(rig.bench->open(plan())->close().outputs_safe); }
  SECTION("finished") {
    const auto session = rig.bench->open(plan());
    session->finish();
    rig::Chunk chunk;
    CHECK(session->next(chunk) == Progress::ended);
    CHECK(session->close().reason == rig::EndState::Reason::completed);
  }
  SECTION("stopped") {
    const auto session = rig.bench->open(plan());
    session->stop("changed our mind");
    rig::Chunk chunk;
    CHECK(session->next(chunk) == Progress::ended);
    CHECK(session->close().text == "changed our mind");
  }
  CHECK(rig.board->state == State::safe);
}

TEST_CASE("a caller that stops calling lets the watchdog trip, and is told", "[board][session][lease]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig.board->pass(300ms);
  rig::Chunk chunk;
  while (session->next(chunk) != Progress::ended) {
  }
  const auto end = session->close();
  CHECK(end.reason == rig::EndState::Reason::fault);
  CHECK_THAT(end.text, Catch::Contains("watchdog") && Catch::Contains("250 ms"));
  SECTION("and the next session acknowledges it") {
    CHECK(rig.board->latch == EndReason::watchdog);
    rig.play(many(1, 10ms));
    CHECK(rig.board->latch == EndReason::none);
  }
}

TEST_CASE("an open interlock stops the run, and is no fault of the rig", "[board][session]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig.board->trip(EndReason::interlock);
  rig::Chunk chunk;
  while (session->next(chunk) != Progress::ended) {
  }
  const auto end = session->close();
  CHECK(end.reason == rig::EndState::Reason::stopped);
  CHECK_THAT(end.text, Catch::Contains("interlock opened"));
}

TEST_CASE("heartbeats cease when a segment is past its time", "[board][session][lease]") {
  Rig rig;
  const auto segments = many(1, 100ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig::Chunk chunk;
  session->next(chunk);      // the segment has begun
  rig.board->plays = false;  // and hangs
  CHECK_THAT(fault_of([&] {
               while (session->next(chunk) != Progress::ended) {
               }
             }),
             Catch::Contains("segment 0 has not ended in its time"));
}

TEST_CASE("a board that falls silent is a fault in words", "[board][session]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig::Chunk chunk;
  rig.board->mute = true;
  CHECK_THAT(fault_of([&] {
               while (session->next(chunk) != Progress::ended) {
               }
             }),
             Catch::Contains("the board on /dev/scripted: it has not answered for 1 s"));
  CHECK_FALSE(session->close().outputs_safe);
}

TEST_CASE("a pulled cable is a fault, and closing says that nothing is known of the outputs", "[board][session]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig.board->unplugged = true;
  rig::Chunk chunk;
  CHECK_THAT(fault_of([&] { session->next(chunk); }), Catch::Contains("the link was lost"));
  const auto end = session->close();
  CHECK(end.reason == rig::EndState::Reason::fault);
  CHECK_FALSE(end.outputs_safe);
}

TEST_CASE("a board that restarts in mid-run is found by its boot number", "[board][session]") {
  Rig rig;
  const auto segments = many(20, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig.board->hello.boot = 78;
  rig::Chunk chunk;
  CHECK_THAT(fault_of([&] {
               while (session->next(chunk) != Progress::ended) {
               }
             }),
             Catch::Contains("it has restarted"));
}
