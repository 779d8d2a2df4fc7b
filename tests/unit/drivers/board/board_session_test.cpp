#include "drivers/board/board_session.hpp"

#include "tests/unit/drivers/board/scripted_rig.hpp"

using namespace drivers::board;
using drivers::Progress;

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

TEST_CASE("readings that come behind the status that tells of the end are waited for", "[board][session]") {
  Rig rig{[](ScriptedBoard& board) { board.data_latency = 30ms; }};
  const auto played = rig.play(many(3, 50ms));
  check_whole(played, 3, 50);
  CHECK(played.end.reason == rig::EndState::Reason::completed);
}

TEST_CASE("a board that cannot capture around an event is not asked to, and the run says why", "[board][session]") {
  const auto open_on = [](std::uint32_t more_features) {
    Rig rig{[&](ScriptedBoard& board) { board.hello.features |= more_features; }};
    auto asked = plan();
    asked.capture.tracks.push_back(
        {kSense, rig::CaptureKind::triggered, 1ms, false, rig::Trigger{rig::Volts{2.5}, true, 5ms, 10ms}});
    std::string said = fault_of([&] { rig.bench->open(asked); });
    return std::pair{said, rig.board->received[Plan::kNumber]};
  };
  const auto [said, plans] = open_on(0);
  CHECK(said ==
        "the board on /dev/scripted: it cannot capture around an event (no feature 'triggered'). Record samples in a "
        "window instead, or use a board of version 1.2 that can");
  CHECK(plans == 0);
  CHECK(open_on(bit(BoardFeature::triggered)) == std::pair{std::string{"no fault"}, 1});
}

TEST_CASE("what a bench can do leaves out triggered captures where the board has no such feature", "[board][session]") {
  for (const std::uint32_t feature : {std::uint32_t{0}, bit(BoardFeature::triggered)}) {
    auto link = std::make_unique<ScriptedBoard>();
    link->hello.features |= feature;
    link->ports[2].captures |= rig::bit(rig::CaptureKind::triggered);
    auto setup = scripted_setup();
    setup.ports[0].captures |= rig::bit(rig::CaptureKind::triggered);
    const auto bench = drivers::open_board(setup, std::move(link), 99);
    const bool can = bench->capabilities().ports[0].captures & rig::bit(rig::CaptureKind::triggered);
    CHECK(can == (feature != 0));
  }
}
