#include <random>

#include "tests/unit/drivers/board/scripted_rig.hpp"

using namespace drivers::board;
using drivers::Progress;

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
