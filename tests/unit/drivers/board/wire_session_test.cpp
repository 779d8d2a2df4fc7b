#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/wire_bench.hpp"

using namespace std::chrono_literals;

namespace {

void check_same(const drivers::Played& wired, const drivers::Played& direct) {
  CHECK(wired.tracks == direct.tracks);
  REQUIRE(wired.slices.size() == direct.slices.size());
  for (std::size_t i = 0; i < wired.slices.size(); ++i) {
    CAPTURE(i);
    CHECK(wired.slices[i].record == direct.slices[i].record);
    CHECK(wired.slices[i].flags == direct.slices[i].flags);
    REQUIRE(wired.slices[i].tracks.size() == direct.slices[i].tracks.size());
    for (std::size_t t = 0; t < wired.slices[i].tracks.size(); ++t) {
      CAPTURE(t);
      CHECK_FALSE(wired.slices[i].tracks[t].gap);
      CHECK((wired.slices[i].tracks[t] == direct.slices[i].tracks[t]));
    }
  }
  CHECK(wired.end.reason == rig::EndState::Reason::completed);
  CHECK(wired.end.outputs_safe);
  CHECK(wired.end.supply.has_value() == direct.end.supply.has_value());
}

}  // namespace

TEST_CASE("a session over the wire gives the same readings as one played directly", "[board][wire]") {
  const auto what = wire::segments();
  const auto expected = wire::direct(what);
  REQUIRE(expected.slices.size() == what.size());
  const auto caught = [](const rig::Slice& slice) { return !slice.tracks.back().values.empty(); };
  REQUIRE(std::any_of(expected.slices.begin(), expected.slices.end(), caught));  // around the events
  wire::Board board;
  const auto host = board.open();
  check_same(sample::play(*host, wire::plan(), what), expected);
  CHECK_FALSE(board.bench.energised());
  SECTION("and so does the next on the same board") { check_same(sample::play(*host, wire::plan(), what), expected); }
}

TEST_CASE("a session at the board's own pace, latency and baud gives the same readings", "[board][wire]") {
  auto what = wire::segments();
  what.resize(3);
  const auto expected = wire::direct(what);
  drivers::DeviceSettings settings;  // paced
  wire::Board board{settings};
  const auto host = board.open();
  const auto began = wire::Clock::now();
  check_same(sample::play(*host, wire::plan(), what), expected);
  CHECK(wire::Clock::now() - began >= expected.slices.back().record.end.since_start());
}

TEST_CASE("segments appended while playing, one by one, give the same readings", "[board][wire]") {
  const auto what = wire::segments();
  const auto expected = wire::direct(what);
  wire::Board board;
  const auto host = board.open();
  const auto session = host->open(wire::plan());
  drivers::Played played{session->tracks(), {}, {}};
  rig::Slicer slicer{played.tracks, host->capabilities().tick_rate};
  rig::Chunk chunk;
  for (const rig::Segment& segment : what) {
    session->append({&segment, 1});
    while (session->next(chunk) != drivers::Progress::idle)
      for (rig::Slice& slice : slicer.take(chunk)) played.slices.push_back(std::move(slice));
  }
  session->finish();
  while (session->next(chunk) != drivers::Progress::ended) slicer.take(chunk);
  played.end = session->close();
  check_same(played, expected);
}

TEST_CASE("a second host is refused while the first plays, and welcome after it", "[board][wire]") {
  const auto what = wire::segments();
  drivers::DeviceSettings settings;
  wire::Board board{settings};
  // Two openers of one serial port are refused by the port itself: the second speaks through the pseudo-terminal alone.
  auto first = board.open();
  CHECK_THROWS_AS(board.open(), rig::RigFault);
  first.reset();
  const auto second = board.open();
  CHECK(sample::play(*second, wire::plan(), {what[0]}).end.reason == rig::EndState::Reason::completed);
}

TEST_CASE("a host that goes without a word leaves a board that the next host can have at once", "[board][wire]") {
  wire::Board board;
  const auto what = wire::segments();
  for (int i = 0; i < 3; ++i) {
    auto host = board.open();
    const auto session = host->open(wire::plan());
    session->append(what);
    rig::Chunk chunk;
    session->next(chunk);
  }
  const auto host = board.open();
  check_same(sample::play(*host, wire::plan(), what), wire::direct(what));
}
