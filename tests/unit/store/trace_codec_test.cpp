#include "rig/store/trace_codec.hpp"

#include <chrono>
#include <limits>
#include <random>

#include "rig/store/byte_stream.hpp"
#include "rig/store/deflate.hpp"
#include "tests/unit/catch.hpp"
#include "tests/unit/store/store_fixture.hpp"

using namespace rig;
using namespace rig::test;

namespace {

using Random = std::mt19937_64;

BenchTime any_time(Random& random) { return BenchTime{Nanoseconds{static_cast<std::int64_t>(random())}}; }

std::int32_t any_value(Random& random) {
  switch (random() % 4) {
    case 0:
      return static_cast<std::int32_t>(random() % 7) - 3;
    case 1:
      return static_cast<std::int32_t>(random());
    case 2:
      return random() % 2 ? std::numeric_limits<std::int32_t>::max() : std::numeric_limits<std::int32_t>::min();
    default:
      return 2048;
  }
}

StepTrace any_trace(Random& random) {
  StepTrace trace;
  trace.step = "step " + std::to_string(random() % 10);
  trace.part = static_cast<std::uint32_t>(random() % 3);
  trace.tick_rate = static_cast<std::uint32_t>(random());
  for (std::uint64_t n = random() % 6; n > 0; --n) {
    TrackInfo info{};
    info.track = {.port = PortId{static_cast<std::uint16_t>(random())},
                  .kind = CaptureKind{static_cast<std::uint8_t>(random() % 5)},
                  .period = Nanoseconds{static_cast<std::int64_t>(random())},
                  .throughout = random() % 2 == 0,
                  .trigger = {}};
    if (random() % 2) {
      Trigger trigger{.threshold = {}, .rising = random() % 2 == 0, .before = Nanoseconds{5}, .after = Nanoseconds{-5}};
      if (random() % 2) trigger.threshold = Volts{0.1 * static_cast<double>(random() % 100)};
      info.track.trigger = trigger;
    }
    info.scale = static_cast<double>(random()) * 1e-19, info.offset = -0.1;
    info.clock = {static_cast<std::uint16_t>(random()), Nanoseconds{100}, Nanoseconds{-7},
                  Nanoseconds{static_cast<std::int64_t>(random())}};
    trace.tracks.push_back(info);
    trace.names.push_back("port " + std::to_string(n));
  }
  for (std::uint64_t n = random() % 8; n > 0; --n) {
    Slice slice;
    slice.record = {.id = static_cast<std::uint32_t>(random()),
                    .start = any_time(random),
                    .end = any_time(random),
                    .reason = SegmentEnd{static_cast<std::uint8_t>(random() % 5)},
                    .settled = {}};
    for (std::uint64_t s = random() % 3; s > 0; --s)
      slice.record.settled.push_back(random() % 2 ? std::optional{Nanoseconds{static_cast<std::int64_t>(random())}}
                                                  : std::nullopt);
    for (std::uint64_t f = random() % 3; f > 0; --f)
      slice.flags.push_back({RigFlag::Kind{static_cast<std::uint8_t>(random() % 9 + 1)}, any_time(random),
                             random() % 2 ? std::optional{PortId{static_cast<std::uint16_t>(random())}} : std::nullopt,
                             std::string(random() % 300, 'x')});
    for (std::size_t t = 0; t < trace.tracks.size(); ++t) {
      TrackSlice piece{.first = any_time(random), .values = {}, .gap = random() % 2 == 0, .jumps = {}};
      for (std::uint64_t j = random() % 3; j > 0; --j)
        piece.jumps.push_back({static_cast<std::uint32_t>(random()), any_time(random)});
      for (std::uint64_t v = random() % 100; v > 0; --v) piece.values.push_back(any_value(random));
      slice.tracks.push_back(std::move(piece));
    }
    trace.slices.push_back(std::move(slice));
  }
  return trace;
}

/// What an end-of-line run records: 45 s, 10 envelopes at 1 ms. A 12-bit converter (1.22 mV a code), each bin's minimum
/// and maximum from 20 conversions with half a code of noise, the mean to a sixteenth of a code; a new point every 120
/// ms that is approached with a time constant of 8 ms.
StepTrace end_of_line_trace() {
  std::mt19937 random{45};
  std::normal_distribution<double> noise{0, 0.5};
  StepTrace trace;
  trace.step = "sweep";
  trace.tick_rate = 10'000'000;
  constexpr int kTracks = 10, kSegments = 375, kBins = 120;
  std::vector<double> level(kTracks, 2000);
  for (int t = 0; t < kTracks; ++t) {
    TrackInfo info{};
    info.track = {.port = PortId{static_cast<std::uint16_t>(t)}, .kind = CaptureKind::envelope, .trigger = {}};
    trace.tracks.push_back(info);
  }
  for (int s = 0; s < kSegments; ++s) {
    Slice slice;
    slice.record = {.id = static_cast<std::uint32_t>(s),
                    .start = BenchTime{Nanoseconds{s * 120'000'000ll}},
                    .end = BenchTime{Nanoseconds{(s + 1) * 120'000'000ll}},
                    .reason = SegmentEnd::settled,
                    .settled = {}};
    for (int t = 0; t < kTracks; ++t) {
      TrackSlice piece{.first = slice.record.start, .values = {}, .jumps = {}};
      const double target = 500 + random() % 3000;
      for (int b = 0; b < kBins; ++b) {
        level[static_cast<std::size_t>(t)] += (target - level[static_cast<std::size_t>(t)]) / 8;
        double low = 1e9, high = -1e9, sum = 0;
        for (int n = 0; n < 20; ++n) {
          const double code = std::round(level[static_cast<std::size_t>(t)] + noise(random));
          low = std::min(low, code), high = std::max(high, code), sum += code;
        }
        for (const double value : {low, high, sum / 20 * kMeanFraction})
          piece.values.push_back(static_cast<std::int32_t>(std::lround(value)));
      }
      slice.tracks.push_back(std::move(piece));
    }
    trace.slices.push_back(std::move(slice));
  }
  return trace;
}

}  // namespace

TEST_CASE("any recording comes back exactly as it was", "[store][codec]") {
  const std::uint64_t seed = std::random_device{}();
  INFO("seed " << seed);
  Random random{seed};
  for (int i = 0; i < 300; ++i) {
    const StepTrace trace = any_trace(random);
    const auto encoded = encode_trace(trace);
    REQUIRE(encoded.size() == trace.tracks.size() + 1);
    const StepTrace back = decode_trace(encoded);
    REQUIRE(back.step == trace.step);
    REQUIRE(back.part == trace.part);
    REQUIRE(back.tick_rate == trace.tick_rate);
    REQUIRE(back.tracks == trace.tracks);
    REQUIRE(back.names == trace.names);
    REQUIRE(back.slices == trace.slices);
  }
}

TEST_CASE("an end-of-line run of 45 s with 10 envelopes at 1 ms takes at most 2 MB", "[store][codec]") {
  const StepTrace trace = end_of_line_trace();
  std::size_t stored = 0, raw = 0;
  for (const EncodedTrace& encoded : encode_trace(trace)) stored += encoded.payload.size() + encoded.row.info.size();
  for (const Slice& slice : trace.slices)
    for (const TrackSlice& piece : slice.tracks) raw += piece.values.size() * sizeof(std::int32_t);
  CAPTURE(stored, raw);
  CHECK(raw == 5'400'000);
  CHECK(stored < 2'000'000);
}

TEST_CASE("bytes that were cut or changed are refused, never a crash", "[store][codec]") {
  const auto good = encode_trace(some_trace());
  std::mt19937 random{7};
  for (int i = 0; i < 3000; ++i) {
    auto bad = good;
    Blob& payload = bad[random() % bad.size()].payload;
    if (random() % 2)
      payload[random() % payload.size()] ^= static_cast<std::uint8_t>(1u << (random() % 8));
    else
      payload.resize(random() % payload.size());
    CHECK_THROWS_WITH(decode_trace(bad), Catch::Contains("they are not those that were recorded"));
  }
  SECTION("also behind a sound compression") {
    for (int i = 0; i < 3000; ++i) {
      auto bad = good;
      auto& [row, payload] = bad[random() % bad.size()];
      Blob raw = inflate_bytes(payload);
      raw[random() % raw.size()] = static_cast<std::uint8_t>(random());
      if (random() % 4 == 0) raw.resize(random() % raw.size());
      payload = deflate_bytes(raw);
      row.sha256 = to_hex(sha256(payload));
      try {
        const StepTrace read = decode_trace(bad);
        CHECK(read.slices.size() < 1000);
      } catch (const StoreError& error) {
        CHECK(error.kind() == StoreError::Kind::damaged);
      }
    }
  }
}

TEST_CASE("a trace whose parts do not fit together is refused before it is queued", "[store][codec]") {
  StepTrace trace = some_trace();
  SECTION("a slice with too few tracks") { trace.slices[1].tracks.pop_back(); }
  SECTION("names for other tracks") { trace.names.pop_back(); }
  SECTION("no step") { trace.step.clear(); }
  CHECK_THROWS_AS(check_trace(trace), StoreError);
}

TEST_CASE("a payload of a codec this program does not know is refused by name", "[store][codec]") {
  auto encoded = encode_trace(some_trace());
  encoded[1].row.codec = 2;
  CHECK_THROWS_WITH(decode_trace(encoded), Catch::Contains("codec 2 is not known"));
}

TEST_CASE("compression gives back what went in, whatever its length", "[store][codec]") {
  for (const std::size_t size : {0u, 1u, 7u, 65536u, 3'000'001u}) {
    Blob bytes(size);
    for (std::size_t i = 0; i < size; ++i) bytes[i] = static_cast<std::uint8_t>(i * i >> 5);
    CHECK(inflate_bytes(deflate_bytes(bytes)) == bytes);
  }
}

TEST_CASE("zigzag puts numbers near zero first and loses none", "[store][codec]") {
  CHECK(zigzag(std::int32_t{0}) == 0);
  CHECK(zigzag(std::int32_t{-1}) == 1);
  CHECK(zigzag(std::int32_t{1}) == 2);
  for (const std::int64_t value : {std::int64_t{0}, std::int64_t{-5}, std::numeric_limits<std::int64_t>::min(),
                                   std::numeric_limits<std::int64_t>::max()})
    CHECK(unzigzag(zigzag(value)) == value);
  for (const std::int32_t value :
       {-5, std::numeric_limits<std::int32_t>::min(), std::numeric_limits<std::int32_t>::max()})
    CHECK(unzigzag(zigzag(value)) == value);
}
