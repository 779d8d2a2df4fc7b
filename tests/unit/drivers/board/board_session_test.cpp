#include "drivers/board/board_session.hpp"

#include <chrono>
#include <cmath>
#include <random>

#include "drivers/board/board_bench.hpp"
#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/scripted_board.hpp"

using namespace std::chrono_literals;
using namespace drivers::board;
using drivers::Progress;

namespace {

constexpr rig::PortId kSense{0}, kSource{1};

drivers::SessionPlan plan() {
  drivers::SessionPlan plan;
  plan.capture.tracks = {{kSense, rig::CaptureKind::envelope, 1ms, true, {}}};
  plan.limits = {{kSource, 0, 5, rig::Amperes{0.02}, 0}};
  return plan;
}

rig::Segment fixed(std::uint32_t id, rig::Nanoseconds length) {
  return {id, {{0ns, rig::SetOutput{kSource, rig::Volts{1.5}}}}, {}, length};
}

rig::Segment until_settled(std::uint32_t id, rig::Nanoseconds not_before, rig::Nanoseconds time_out) {
  return {id, {}, {}, rig::Until{{{rig::TrackId{0}, 10ms, rig::Volts{0.005}, 4ms, true}}, not_before, time_out}};
}

std::vector<rig::Segment> many(std::uint32_t count, rig::Nanoseconds length) {
  std::vector<rig::Segment> segments;
  for (std::uint32_t id = 0; id < count; ++id) segments.push_back(fixed(id, length));
  return segments;
}

/// A bench on a scripted board, which stays the test's to look at.
struct Rig {
  ScriptedBoard* board;
  std::unique_ptr<drivers::Bench> bench;
  explicit Rig(const std::function<void(ScriptedBoard&)>& prepare = [](ScriptedBoard&) {}) {
    auto link = std::make_unique<ScriptedBoard>();
    board = link.get();
    prepare(*board);
    bench = drivers::open_board(scripted_setup(), std::move(link), 99);
  }
  drivers::Played play(const std::vector<rig::Segment>& segments) { return drivers::play(*bench, plan(), segments); }
};

std::string fault_of(const std::function<void()>& f) {
  try {
    f();
  } catch (const rig::RigFault& fault) {
    return fault.what();
  }
  return "no fault";
}

/// Every slice whole: each 1 ms bin of each segment is there.
void check_whole(const drivers::Played& played, std::size_t segments, std::size_t bins) {
  REQUIRE(played.slices.size() == segments);
  for (std::size_t i = 0; i < segments; ++i) {
    CHECK(played.slices[i].record.id == i);
    CHECK_FALSE(played.slices[i].tracks[0].gap);
    CHECK(played.slices[i].tracks[0].values.size() == 3 * bins);
    CHECK(played.slices[i].flags.empty());
  }
}

}  // namespace

TEST_CASE("a timeline is played to its end and every reading comes back", "[board][session]") {
  Rig rig;
  const auto played = rig.play(many(20, 50ms));
  check_whole(played, 20, 50);
  CHECK(played.end.reason == rig::EndState::Reason::completed);
  CHECK(played.end.outputs_safe);
  REQUIRE(played.end.supply);
  CHECK(played.end.supply->value() == Approx(0.012));
  CHECK(played.slices[3].record.start == rig::BenchTime{150ms});
  CHECK(played.slices[3].record.end == rig::BenchTime{200ms});
  CHECK(played.tracks[0].scale == 0.001);
}

TEST_CASE("ports go by their names, whatever numbers the board gives them", "[board][session]") {
  Rig rig;
  rig.play(many(1, 10ms));
  const auto& event = std::get<EventEntry>(rig.board->entries.at(1));
  CHECK(event.port == 1);  // "source" is the board's second, the file's second too; "sense" is its third
  CHECK(std::get<StepTo>(event.action).value == 1'500'000);
}

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

TEST_CASE("lost commands and lost replies are repeated under the same number", "[board][session][loss]") {
  int seen = 0, lost = 0;
  const auto every_second = [&](const Message& message) {
    const std::uint8_t number = number_of(message);
    if (number >= 0xC0 || !is_command(number & 0x7F) || ++seen % 2 != 0) return Fate::arrives;
    ++lost;
    return Fate::lost;
  };
  Rig rig{[&](ScriptedBoard& board) {
    SECTION("on the way to the board") { board.to_board = every_second; }
    SECTION("on the way back") { board.to_host = every_second; }
  }};
  check_whole(rig.play(many(3, 50ms)), 3, 50);
  CHECK(lost >= 4);
}

TEST_CASE("queue frames and readings that are lost or come twice are mended", "[board][session][loss]") {
  const auto seed = GENERATE(1u, 2u, 3u, 4u);
  INFO("seed " << seed);
  std::mt19937 random{seed};
  Rig rig{[&](ScriptedBoard& board) {
    board.hello.queue_entries = 48;
    board.to_board = [&](const Message& m) {
      return std::holds_alternative<Queue>(m) && random() % 3 == 0 ? Fate::lost
             : random() % 10 == 0                                  ? Fate::doubled
                                                                   : Fate::arrives;
    };
    board.to_host = [&](const Message& m) {
      const bool data =
          std::holds_alternative<Blocks>(m) || std::holds_alternative<Record>(m) || std::holds_alternative<Status>(m);
      return data && random() % 10 == 0 ? Fate::lost : random() % 20 == 0 ? Fate::doubled : Fate::arrives;
    };
  }};
  check_whole(rig.play(many(100, 50ms)), 100, 50);
  CHECK(rig.board->received[Resend::kNumber] > 0);
}

TEST_CASE("readings that cannot be had again are a gap in their segment and nowhere else", "[board][session][loss]") {
  int frame = 0;
  Rig rig{[&](ScriptedBoard& board) {
    board.keeps_frames = false;
    board.to_host = [&](const Message& m) {
      if (!std::holds_alternative<Blocks>(m)) return Fate::arrives;
      ++frame;
      return frame >= 70 && frame < 74 ? Fate::lost : Fate::arrives;
    };
  }};
  const auto played = rig.play(many(3, 50ms));
  REQUIRE(played.slices.size() == 3);
  CHECK_FALSE(played.slices[0].tracks[0].gap);
  CHECK(played.slices[1].tracks[0].gap);
  CHECK(played.slices[1].tracks[0].values.size() == 3 * 46);
  CHECK_FALSE(played.slices[2].tracks[0].gap);
  CHECK(played.slices[2].tracks[0].values.size() == 3 * 50);
}

TEST_CASE("damaged frames are borne three times in ten seconds and no more", "[board][session][loss]") {
  const int frames = GENERATE(3, 4);
  Rig rig;
  const auto segments = many(4, 50ms);
  const auto session = rig.bench->open(plan());
  session->append(segments);
  rig.board->noise(frames);
  session->finish();
  rig::Chunk chunk;
  const std::string fault = fault_of([&] {
    while (session->next(chunk) != Progress::ended) {
    }
  });
  if (frames == 3) CHECK(fault == "no fault");
  if (frames == 4) CHECK_THAT(fault, Catch::Contains("/dev/scripted") && Catch::Contains("4 damaged frames"));
  const rig::EndState end = session->close();
  CHECK(end.outputs_safe);
  CHECK(rig.board->state == State::safe);
}

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

TEST_CASE("segments may be appended while others play, and after a pause", "[board][session]") {
  Rig rig;
  const auto session = rig.bench->open(plan());
  const auto first = many(2, 50ms);
  const std::vector<rig::Segment> second{fixed(2, 50ms)};
  rig::Chunk chunk;
  std::vector<std::uint32_t> ended;
  const auto read = [&] {
    Progress progress;
    while ((progress = session->next(chunk)) == Progress::chunk)
      for (const auto& record : chunk.ended) ended.push_back(record.id);
    return progress;
  };
  CHECK(read() == Progress::idle);
  session->append(first);
  CHECK(read() == Progress::idle);
  CHECK(ended == std::vector<std::uint32_t>{0, 1});
  session->append(second);
  session->finish();
  CHECK(read() == Progress::ended);
  CHECK(ended == std::vector<std::uint32_t>{0, 1, 2});
  CHECK(session->close().reason == rig::EndState::Reason::completed);
}

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
