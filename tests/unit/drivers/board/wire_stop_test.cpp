#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/wire_bench.hpp"

using namespace std::chrono_literals;

namespace {

/// A recording is well formed when its slices follow one another and only the last was cut short.
void check_well_formed(const std::vector<rig::Slice>& slices) {
  for (std::size_t i = 0; i < slices.size(); ++i) {
    CHECK(slices[i].record.end >= slices[i].record.start);
    if (i > 0) CHECK(slices[i].record.start == slices[i - 1].record.end);
    if (i + 1 < slices.size()) CHECK(slices[i].record.reason != rig::SegmentEnd::stopped);
    for (const rig::TrackSlice& track : slices[i].tracks) CHECK_FALSE(track.gap);
  }
}

std::vector<rig::Segment> long_session() {
  auto what = wire::segments();
  const auto once = what;
  for (int i = 0; i < 20; ++i) what.insert(what.end(), once.begin(), once.end());
  for (std::size_t i = 0; i < what.size(); ++i) what[i].id = static_cast<std::uint32_t>(i + 1);
  return what;
}

}  // namespace

TEST_CASE("stop at any instant makes the outputs safe within 100 ms and leaves a well-formed recording",
          "[board][wire][stop]") {
  const unsigned seed = 20;
  std::mt19937 dice{seed};
  const auto what = long_session();
  wire::Board board;
  const auto host = board.open();
  int while_playing = 0;
  for (int i = 0; i < 300; ++i) {
    CAPTURE(seed, i);
    const auto session = host->open(wire::plan());
    rig::Slicer slicer{session->tracks(), host->capabilities().tick_rate};
    const auto delay = std::chrono::microseconds{dice() % 40'000};
    std::atomic<wire::Clock::rep> pressed = 0;
    std::jthread button{[&] {
      std::this_thread::sleep_for(delay);
      pressed = wire::Clock::now().time_since_epoch().count();
      session->stop("button");
    }};
    std::vector<rig::Slice> slices;
    rig::Chunk chunk;
    session->append(what);
    session->finish();
    while (session->next(chunk) != drivers::Progress::ended)
      for (const rig::Slice& slice : slicer.take(chunk)) slices.push_back(slice);
    button.join();
    const rig::EndState end = session->close();
    CHECK(end.outputs_safe);
    CHECK_FALSE(board.bench.energised());
    if (end.reason == rig::EndState::Reason::stopped) {
      ++while_playing;
      CHECK(end.text == "button");
      CHECK(board.bench.safe_at() - wire::Clock::time_point{wire::Clock::duration{pressed}} < 100ms);
    }
    check_well_formed(slices);
  }
  CHECK(while_playing > 200);
}

TEST_CASE("a host that freezes lets the board go safe within 250 ms of its last heartbeat", "[board][wire][stop]") {
  for (const bool paced : {false, true}) {
    CAPTURE(paced);
    drivers::DeviceSettings settings = wire::fastest();
    settings.paced = paced;
    wire::Board board{settings};
    const auto host = board.open();
    const auto session = host->open(wire::plan());
    std::vector<rig::Segment> what{sample::Script{}.power_up().hold(3'600s).segments};
    rig::Chunk chunk;
    session->append(what);
    for (int i = 0; i < 5; ++i) session->next(chunk);
    const auto last = wire::Clock::now();  // no heartbeat was sent later than this
    CHECK(board.bench.energised());
    std::this_thread::sleep_for(400ms);
    CHECK_FALSE(board.bench.energised());
    CHECK(board.bench.safe_at() - last <= 250ms);
    try {
      while (session->next(chunk) != drivers::Progress::ended) {
      }
    } catch (const rig::RigFault&) {  // just as well
    }
    const rig::EndState end = session->close();
    CHECK(end.reason == rig::EndState::Reason::fault);
    CHECK_THAT(end.text, Catch::Contains("watchdog"));
  }
}

TEST_CASE("a pulled cable is a fault at the host and safe outputs at the bench", "[board][wire][stop]") {
  wire::Board board;
  const auto host = board.open();
  const auto session = host->open(wire::plan());
  const auto what = long_session();
  rig::Chunk chunk;
  session->append(what);
  session->next(chunk);
  CHECK(board.bench.energised());
  board.pull_cable();
  CHECK_FALSE(board.bench.energised());
  const auto read_on = [&] {
    while (session->next(chunk) != drivers::Progress::ended) {
    }
  };
  CHECK_THROWS_AS(read_on(), rig::RigFault);
  CHECK_FALSE(session->close().outputs_safe);  // nobody has confirmed it to the host
}
