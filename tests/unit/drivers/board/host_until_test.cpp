#include "drivers/board/host_until.hpp"

#include <chrono>
#include <vector>

#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using namespace drivers::board;

namespace {

/// Two envelope tracks of 1 ms; a segment, begun at 100 ms, that waits for both to lie within 2 mV for 4 ms.
struct Fixture {
  WireMap map;
  rig::Segment segment{5, {}, {}, rig::Until{{condition(0), condition(1)}, 0ns, 1s}};
  HostUntil until{map, {info(), info()}};

  static rig::TrackInfo info() { return {{rig::PortId{0}, rig::CaptureKind::envelope, 1ms, true, {}}, 0.001, 0, {}}; }
  static rig::SettleCondition condition(std::uint16_t track) {
    return {rig::TrackId{track}, 4ms, rig::Volts{0.002}, 1ms, true};
  }
  static rig::Block block(std::uint16_t track, rig::Nanoseconds first, const std::vector<int>& codes,
                          std::uint32_t dropped = 0) {
    rig::Block b{rig::TrackId{track}, rig::BenchTime{first}, static_cast<std::uint32_t>(codes.size()), dropped, {}};
    for (const int code : codes) b.values.insert(b.values.end(), {code, code, code * 16});
    return b;
  }
  void begin() { until.playing(segment, 1'000'000); }
};

}  // namespace

TEST_CASE_METHOD(Fixture, "both conditions must hold at the same bin, whatever order their readings come in",
                 "[board][until]") {
  begin();
  CHECK_FALSE(until.take(block(0, 100ms, {500, 500, 500, 500, 500, 500})));
  CHECK_FALSE(until.take(block(1, 100ms, {900, 700, 700})));
  CHECK(until.take(block(1, 103ms, {700, 700})));
  rig::SegmentRecord record{5, rig::BenchTime{100ms}, rig::BenchTime{107ms}, rig::SegmentEnd::advanced, {}};
  until.complete(record);
  CHECK(record.reason == rig::SegmentEnd::settled);
  CHECK(record.settled == std::vector<std::optional<rig::Nanoseconds>>{4ms, 5ms});
}

TEST_CASE_METHOD(Fixture, "readings from before the segment do not count", "[board][until]") {
  begin();
  CHECK_FALSE(until.take(block(0, 90ms, std::vector<int>(13, 500))));
  CHECK_FALSE(until.take(block(1, 90ms, std::vector<int>(13, 500))));
}

TEST_CASE_METHOD(Fixture, "a gap in the readings begins the wait anew", "[board][until]") {
  begin();
  until.take(block(1, 100ms, std::vector<int>(10, 500)));
  CHECK_FALSE(until.take(block(0, 100ms, {500, 500, 500})));
  CHECK_FALSE(until.take(block(0, 105ms, {500, 500, 500}, 2)));
  CHECK(until.take(block(0, 108ms, {500})));
}

TEST_CASE_METHOD(Fixture, "a record is only touched when the host itself ended that segment", "[board][until]") {
  begin();
  rig::SegmentRecord record{5, rig::BenchTime{100ms}, rig::BenchTime{200ms}, rig::SegmentEnd::timed_out, {}};
  until.complete(record);
  CHECK(record.reason == rig::SegmentEnd::timed_out);
}

TEST_CASE_METHOD(Fixture, "a segment that settled in its time has settled, even if the board heard of it too late",
                 "[board][until]") {
  begin();
  until.take(block(1, 100ms, std::vector<int>(8, 700)));
  CHECK(until.take(block(0, 100ms, std::vector<int>(8, 500))));
  rig::SegmentRecord record{5, rig::BenchTime{100ms}, rig::BenchTime{200ms}, rig::SegmentEnd::timed_out, {}};
  until.complete(record);
  CHECK(record.reason == rig::SegmentEnd::settled);
  CHECK(record.settled == std::vector<std::optional<rig::Nanoseconds>>{4ms, 4ms});
}

TEST_CASE_METHOD(Fixture, "another start than was thought begins the wait anew, the same one does not",
                 "[board][until]") {
  begin();
  until.take(block(1, 100ms, std::vector<int>(8, 700)));
  until.take(block(0, 100ms, {500, 500, 500}));
  begin();
  CHECK(until.take(block(0, 103ms, {500})));
  until.playing({6, {}, {}, segment.end}, 1'080'000);
  until.take(block(1, 108ms, std::vector<int>(8, 700)));
  until.playing({6, {}, {}, segment.end}, 1'100'000);  // it held for 2 ms
  CHECK_FALSE(until.take(block(0, 108ms, std::vector<int>(5, 500))));
}

TEST_CASE_METHOD(Fixture, "a segment that ran out of time with nobody watching is told apart", "[board][until]") {
  rig::SegmentRecord record{5, rig::BenchTime{100ms}, rig::BenchTime{200ms}, rig::SegmentEnd::timed_out, {}};
  CHECK_FALSE(until.complete(record));
  record.reason = rig::SegmentEnd::elapsed;
  CHECK(until.complete(record));
  begin();
  record.reason = rig::SegmentEnd::timed_out;
  CHECK(until.complete(record));
}
