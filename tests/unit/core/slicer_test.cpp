#include <algorithm>

#include "rig/core/recording.hpp"
#include "tests/unit/seed.hpp"
#include "tests/unit/stringmakers.hpp"

using namespace rig;
using namespace std::chrono_literals;

namespace {

constexpr std::uint32_t kTickRate = 10'000'000;
constexpr Nanoseconds kTick = 100ns;

TrackInfo track(CaptureKind kind, Nanoseconds period, bool throughout) {
  TrackInfo info;
  info.track.kind = kind;
  info.track.period = period;
  info.track.throughout = throughout;
  return info;
}

/// The plan of the random test: a throughout envelope and one in windows, samples in windows, edges, bytes.
std::vector<TrackInfo> plan() {
  return {track(CaptureKind::envelope, 1ms, true), track(CaptureKind::samples, 100us, false),
          track(CaptureKind::edges, 1ms, true), track(CaptureKind::samples, 100us, true),
          track(CaptureKind::bytes, 1ms, false)};
}

/// One reading with its own time: what a naive cutter sorts by.
struct Reading {
  BenchTime at;
  std::vector<std::int32_t> values;  ///< edges: the level
  bool lost = false;
};
struct Truth {
  std::vector<std::vector<Reading>> tracks;
  std::vector<SegmentRecord> segments;
};

Truth random_truth(std::mt19937_64& random) {
  Truth truth;
  Nanoseconds now{pick(random, 0, 3) * 1ms};
  for (std::uint32_t id = 0; id < 12; ++id) {
    const Nanoseconds length = pick(random, 1, 30) * 1ms;
    truth.segments.push_back({id, BenchTime{now}, BenchTime{now + length}, SegmentEnd::elapsed, {}});
    now += length;
  }
  const auto code = [&] { return static_cast<std::int32_t>(pick(random, -4000, 4000)); };
  truth.tracks.resize(5);
  for (Nanoseconds t{0}; t < now; t += 1ms) {
    truth.tracks[0].push_back({BenchTime{t}, {code(), code(), code()}, pick(random, 0, 60) == 0});
  }
  for (Nanoseconds t{0}; t < now; t += 100us) truth.tracks[3].push_back({BenchTime{t}, {code()}});
  for (const SegmentRecord& segment : truth.segments) {  // two windows, perhaps empty, perhaps touching
    const auto all = (segment.end - segment.start) / 100us;
    const auto a = pick(random, 0, all), b = pick(random, a, all), c = pick(random, b, all), d = pick(random, c, all);
    for (auto i = a; i < d; ++i) {
      if (i < b || i >= c) truth.tracks[1].push_back({segment.start + i * 100us, {code()}});
    }
    if (pick(random, 0, 2) == 0) truth.tracks[4].push_back({segment.start + pick(random, 0, 900) * 1us, {code()}});
  }
  bool level = false;
  for (Nanoseconds t = pick(random, 1, 40'000) * kTick; t < now; t += pick(random, 1, 40'000) * kTick) {
    truth.tracks[2].push_back({BenchTime{t}, {level = !level}});
  }
  return truth;
}

/// The obvious way, one reading at a time.
Slice naive(const Truth& truth, const std::vector<TrackInfo>& infos, const SegmentRecord& segment) {
  Slice slice;
  slice.record = segment;
  for (std::size_t i = 0; i < infos.size(); ++i) {
    TrackSlice& out = slice.tracks.emplace_back();
    out.first = segment.start;
    const bool edges = infos[i].track.kind == CaptureKind::edges, bytes = infos[i].track.kind == CaptureKind::bytes;
    BenchTime before = segment.start;
    std::uint32_t readings = 0;
    for (const Reading& reading : truth.tracks[i]) {
      if (reading.at < segment.start || reading.at >= segment.end) continue;
      if (reading.lost) {
        out.gap = true;
        continue;
      }
      if (edges) {
        out.values.push_back(static_cast<std::int32_t>((reading.at - before) / kTick * 2) | reading.values[0]);
        before = reading.at;
        continue;
      }
      if (readings == 0) {
        out.first = reading.at;
      } else if (!bytes && reading.at != before + infos[i].track.period) {
        out.jumps.push_back({readings, reading.at});
      }
      out.values.insert(out.values.end(), reading.values.begin(), reading.values.end());
      before = reading.at;
      ++readings;
    }
  }
  return slice;
}

/// All readings as blocks of random length, each with the time before which it must have been sent.
struct Sent {
  Block block;
  BenchTime first_reading;
};
std::vector<Sent> random_blocks(std::mt19937_64& random, const Truth& truth, const std::vector<TrackInfo>& infos) {
  std::vector<Sent> all;
  for (std::size_t i = 0; i < infos.size(); ++i) {
    const bool edges = infos[i].track.kind == CaptureKind::edges, bytes = infos[i].track.kind == CaptureKind::bytes;
    Block block;
    BenchTime before, first_reading;
    std::int64_t left = 0;
    std::uint32_t lost = 0;
    const auto send = [&] {
      if (block.count > 0) all.push_back({block, first_reading});
      block = Block{};
    };
    for (const Reading& reading : truth.tracks[i]) {
      if (reading.lost) {
        send();
        ++lost;
        continue;
      }
      const bool goes_on = edges || reading.at == before + infos[i].track.period;
      if (block.count == 0 || left == 0 || !goes_on || bytes) {
        send();
        block.track = TrackId{static_cast<std::uint16_t>(i)};
        block.first =
            edges ? BenchTime{(reading.at.since_start() / kTick - pick(random, 0, 1) * pick(random, 0, 1)) * kTick}
                  : reading.at;
        block.dropped_before = std::exchange(lost, 0);
        first_reading = reading.at;
        before = block.first;
        left = pick(random, 1, 40);
      }
      if (edges) {
        block.values.push_back(static_cast<std::int32_t>((reading.at - before) / kTick * 2) | reading.values[0]);
      } else {
        block.values.insert(block.values.end(), reading.values.begin(), reading.values.end());
      }
      ++block.count;
      --left;
      before = reading.at;
    }
    send();
  }
  // Tracks arrive interleaved, each in its own order.
  std::stable_sort(all.begin(), all.end(), [](const Sent& a, const Sent& b) { return a.block.first < b.block.first; });
  return all;
}

}  // namespace

TEST_CASE("however a recording was cut into chunks, its slices are those of the obvious cutter", "[core][slicer]") {
  const auto seed = test_seed();
  INFO("seed " << seed);
  std::mt19937_64 random{seed};
  for (int round = 0; round < 60; ++round) {
    const auto infos = plan();
    const Truth truth = random_truth(random);
    const auto sent = random_blocks(random, truth, infos);
    Slicer slicer{infos, kTickRate};
    std::vector<Slice> slices;
    Chunk chunk;
    const auto deliver = [&] {
      for (Slice& slice : slicer.take(chunk)) {
        slices.push_back(pick(random, 0, 1) ? std::move(slice) : slice);  // both are allowed
      }
      chunk.clear();
    };
    std::size_t next = 0;
    for (const SegmentRecord& segment : truth.segments) {
      // Every block that reaches into the segment comes first; some later ones may come too.
      const auto must = static_cast<std::size_t>(
          std::find_if(sent.begin(), sent.end(), [&](const Sent& s) { return s.first_reading >= segment.end; }) -
          sent.begin());
      std::size_t reach = must;
      for (std::size_t k = must; k < sent.size(); ++k) {
        if (sent[k].first_reading < segment.end) reach = k + 1;
      }
      reach = std::min(sent.size(), reach + static_cast<std::size_t>(pick(random, 0, 1) * pick(random, 0, 30)));
      for (; next < reach; ++next) {
        chunk.blocks.push_back(sent[next].block);
        if (pick(random, 0, 9) == 0) deliver();
      }
      chunk.ended.push_back(segment);
      if (pick(random, 0, 2) == 0) deliver();
    }
    deliver();
    REQUIRE(slices.size() == truth.segments.size());
    for (std::size_t i = 0; i < slices.size(); ++i) {
      const Slice expected = naive(truth, infos, truth.segments[i]);
      REQUIRE(slices[i].record == expected.record);
      for (std::size_t t = 0; t < infos.size(); ++t) {
        INFO("round " << round << ", segment " << i << ", track " << t);
        REQUIRE(slices[i].tracks[t].values == expected.tracks[t].values);
        REQUIRE(slices[i].tracks[t].first == expected.tracks[t].first);
        REQUIRE(slices[i].tracks[t].jumps == expected.tracks[t].jumps);
        REQUIRE(slices[i].tracks[t].gap == expected.tracks[t].gap);
      }
    }
  }
}

namespace {

/// One track, played by hand.
struct OneTrack {
  explicit OneTrack(const TrackInfo& info) : slicer{{info}, kTickRate} {}
  void block(Nanoseconds first, std::vector<std::int32_t> values, std::uint32_t each = 1, std::uint32_t dropped = 0) {
    const auto count = static_cast<std::uint32_t>(values.size()) / each;
    chunk.blocks.push_back({TrackId{0}, BenchTime{first}, count, dropped, std::move(values)});
  }
  TrackSlice segment(Nanoseconds start, Nanoseconds end, SegmentEnd reason = SegmentEnd::elapsed) {
    chunk.ended.push_back({0, BenchTime{start}, BenchTime{end}, reason, {}});
    const auto slices = slicer.take(chunk);
    chunk.clear();
    REQUIRE(slices.size() == 1);
    flags = slices[0].flags;
    return slices[0].tracks[0];
  }
  Slicer slicer;
  Chunk chunk;
  std::vector<RigFlag> flags;
};

}  // namespace

TEST_CASE("a hole in a track that runs throughout is a gap in every segment it reaches into", "[core][slicer]") {
  OneTrack play{track(CaptureKind::samples, 1ms, true)};
  play.block(0ms, {0, 1, 2});
  play.block(12ms, {12, 13, 14, 15});
  CHECK(play.segment(0ms, 5ms).gap);
  CHECK(play.segment(5ms, 10ms).gap);
  const auto third = play.segment(10ms, 15ms);
  CHECK(third.gap);
  CHECK(third.first == BenchTime{12ms});
  CHECK_FALSE(play.segment(15ms, 16ms).gap);
}

TEST_CASE("a hole inside a segment does not shift what comes after it", "[core][slicer]") {
  const TrackInfo info = track(CaptureKind::samples, 1ms, true);
  OneTrack play{info};
  play.block(0ms, {0, 1});
  play.block(5ms, {5, 6, 7});
  const auto slice = play.segment(0ms, 8ms);
  CHECK(slice.gap);
  CHECK(slice.values == std::vector<std::int32_t>{0, 1, 5, 6, 7});
  CHECK(reading_time(info, slice, 1) == BenchTime{1ms});
  CHECK(reading_time(info, slice, 2) == BenchTime{5ms});
  CHECK(reading_time(info, slice, 4) == BenchTime{7ms});
}

TEST_CASE("a track in windows has no gap where it was not asked for", "[core][slicer]") {
  const TrackInfo info = track(CaptureKind::samples, 1ms, false);
  OneTrack play{info};
  play.block(2ms, {2, 3});
  play.block(6ms, {6});
  const auto slice = play.segment(0ms, 10ms);
  CHECK_FALSE(slice.gap);
  CHECK(reading_time(info, slice, 2) == BenchTime{6ms});
  CHECK_FALSE(play.segment(10ms, 20ms).gap);
}

TEST_CASE("what was lost is a gap, whatever the track", "[core][slicer]") {
  SECTION("edges") {
    OneTrack play{track(CaptureKind::edges, 1ms, true)};
    play.block(1ms, {1});
    play.block(15ms, {2 * 10'000}, 1, 3);  // an edge at 16 ms, three lost before it
    CHECK(play.segment(0ms, 10ms).gap);
    CHECK(play.segment(10ms, 20ms).gap);
    CHECK_FALSE(play.segment(20ms, 30ms).gap);
  }
  SECTION("samples in a window") {
    OneTrack play{track(CaptureKind::samples, 1ms, false)};
    play.block(2ms, {2});
    play.block(4ms, {4}, 1, 1);
    CHECK(play.segment(0ms, 10ms).gap);
  }
  SECTION("a block that claims more than it holds") {
    OneTrack play{track(CaptureKind::samples, 1ms, false)};
    play.chunk.blocks.push_back({TrackId{0}, BenchTime{2ms}, 100, 0, {1, 2}});
    CHECK(play.segment(0ms, 10ms).gap);
  }
}

TEST_CASE("a segment that was stopped need not be whole", "[core][slicer]") {
  OneTrack play{track(CaptureKind::samples, 1ms, true)};
  play.block(0ms, {0, 1, 2});
  CHECK_FALSE(play.segment(0ms, 8ms, SegmentEnd::stopped).gap);
}

TEST_CASE("edges too far apart for one delta keep their time", "[core][slicer]") {
  OneTrack play{track(CaptureKind::edges, 1ms, true)};
  play.block(200s, {2 * 50 + 1});
  play.block(400s, {2 * 70});
  const auto slice = play.segment(0s, 500s);
  const auto edges = recorded_edges(slice, kTickRate);
  REQUIRE(edges.size() == 2);
  CHECK(edges[0].at == BenchTime{200s + 5us});
  CHECK(edges[0].rising);
  CHECK(edges[1].at == BenchTime{400s + 7us});
  CHECK_FALSE(edges[1].rising);
}

TEST_CASE("an edge on the border between two segments belongs to the later one", "[core][slicer]") {
  OneTrack play{track(CaptureKind::edges, 1ms, true)};
  play.block(0ms, {2 * 100'000 - 1, 2 * 1});  // a tick before 10 ms, and at 10 ms
  CHECK(play.segment(0ms, 10ms).values == std::vector<std::int32_t>{2 * 99'999 + 1});
  CHECK(play.segment(10ms, 20ms).values == std::vector<std::int32_t>{0});
}

TEST_CASE("a rig flag goes to the segment it was raised in, never lost before it", "[core][slicer]") {
  OneTrack play{track(CaptureKind::edges, 1ms, true)};
  play.chunk.flags.push_back({RigFlag::Kind::supply, BenchTime{1ms}, {}, "before the first segment"});
  play.chunk.flags.push_back({RigFlag::Kind::saturated, BenchTime{20ms}, {}, "on the border"});
  play.segment(10ms, 20ms);
  REQUIRE(play.flags.size() == 1);
  CHECK(play.flags[0].text == "before the first segment");
  play.segment(20ms, 30ms);
  REQUIRE(play.flags.size() == 1);
  CHECK(play.flags[0].text == "on the border");
}

TEST_CASE("a block of a track nobody planned is no reason to fall over", "[core][slicer]") {
  OneTrack play{track(CaptureKind::samples, 1ms, false)};
  play.chunk.blocks.push_back({TrackId{77}, BenchTime{2ms}, 1, 0, {1}});
  CHECK(play.segment(0ms, 10ms).values.empty());
}

TEST_CASE("an envelope's bin reads in physical units", "[core][recording]") {
  TrackInfo info = track(CaptureKind::envelope, 1ms, true);
  info.scale = 0.001;
  info.offset = -1;
  TrackSlice slice;
  slice.values = {0, 0, 0, 1000, 3000, 2001 * kMeanFraction + 8};
  const EnvelopeBin bin = envelope_bin(info, slice, 1);
  CHECK(bin.low == Approx(0));
  CHECK(bin.high == Approx(2));
  CHECK(bin.mean == Approx(1.0015));
}
