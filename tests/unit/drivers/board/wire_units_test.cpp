#include "drivers/board/wire_units.hpp"

#include <chrono>
#include <limits>
#include <vector>

#include "rig/core/rig_fault.hpp"
#include "tests/unit/catch.hpp"

using namespace std::chrono_literals;
using namespace drivers::board;

namespace {

constexpr rig::PortId kSupply{0}, kThermistor{1}, kWheel{2}, kRelay{3}, kService{4};

WireMap some_map() {
  WireMap map;
  map.wire_port = {10, 11, 12, 13, 14};
  map.kind = {rig::PortKind::supply, rig::PortKind::resistance_source, rig::PortKind::pulse_source,
              rig::PortKind::relay, rig::PortKind::service_port};
  return map;
}

std::vector<Entry> entries_of(const rig::Segment& segment) {
  std::vector<Entry> entries;
  append_entries(entries, segment, some_map());
  return entries;
}

/// The one event of a segment.
EventEntry event_of(rig::Action action, rig::Nanoseconds at = 0ns) {
  return std::get<EventEntry>(entries_of({1, {{at, std::move(action)}}, {}, 1ms}).at(1));
}

}  // namespace

TEST_CASE("set-points go out in the wire's whole units, rounded to nearest", "[board][units]") {
  CHECK(event_of(rig::SetOutput{kSupply, rig::Volts{13.8000004}}, 150ns) == EventEntry{2, 10, StepTo{13'800'000}});
  CHECK(event_of(rig::SetOutput{kSupply, rig::Volts{-0.0000006}}) == EventEntry{0, 10, StepTo{-1}});
  CHECK(event_of(rig::SetOutput{kThermistor, rig::Ohms{2199.9996}}) == EventEntry{0, 11, StepTo{2'200'000}});
  CHECK(event_of(rig::SetOutput{kSupply, rig::HighImpedance{}}) == EventEntry{0, 10, ToOpen{}});
  CHECK(event_of(rig::SetOutput{kSupply, rig::Grounded{}}) == EventEntry{0, 10, ToGround{}});
  CHECK(event_of(rig::RampOutput{kSupply, rig::Volts{5}, 20ms}) == EventEntry{0, 10, RampTo{5'000'000, 200'000}});
  CHECK(event_of(rig::SetRelay{kRelay, true}) == EventEntry{0, 13, RelayTo{1}});
  CHECK(event_of(rig::SetCurrentLimit{kSupply, rig::Amperes{0.25}}) == EventEntry{0, 10, CurrentLimitTo{250'000}});
  CHECK(event_of(rig::SetSpeed{kWheel, {3'500'000, 0, std::nullopt}}) ==
        EventEntry{0, 12, WirePiece{3'500'000, 0, kForever}});
  CHECK(event_of(rig::SetSpeed{kWheel, {1, -2, 3}}) == EventEntry{0, 12, WirePiece{1, -2, 3}});
  CHECK(event_of(rig::Exchange{kService, {1, 2}, {3}, 4, 5ms, 6}) ==
        EventEntry{0, 14, WireExchange{4, 50'000, 6, {1, 2}, {3}}});
}

TEST_CASE("a value beyond the wire's range goes to its end, where every limit refuses it", "[board][units]") {
  CHECK(std::get<StepTo>(event_of(rig::SetOutput{kSupply, rig::Volts{1e9}}).action).value ==
        std::numeric_limits<std::int32_t>::max());
  CHECK(std::get<StepTo>(event_of(rig::SetOutput{kSupply, rig::Volts{-1e9}}).action).value ==
        std::numeric_limits<std::int32_t>::min());
}

TEST_CASE("a conversation that no entry can hold is refused in words", "[board][units]") {
  CHECK_THROWS_WITH(event_of(rig::Exchange{kService, std::vector<std::uint8_t>(226), {}, 1, 1ms, 0}),
                    Catch::Contains("more than 225 bytes"));
  CHECK_NOTHROW(event_of(rig::Exchange{kService, std::vector<std::uint8_t>(225), {}, 1, 1ms, 0}));
}

TEST_CASE("a segment goes out as begin, conditions, windows, events, end", "[board][units]") {
  const rig::Segment segment{
      7,
      {{0ns, rig::SetRelay{kRelay, false}}},
      {{rig::TrackId{3}, 1ms, std::nullopt}, {rig::TrackId{4}, 0ns, 2ms}},
      rig::Until{{{rig::TrackId{2}, 20ms, rig::Volts{0.0015}, 8ms, true}}, 40ms, 500ms},
  };
  CHECK(entries_of(segment) == std::vector<Entry>{
                                   SegmentBegin{7, 1, 5'000'000, 400'000},
                                   UntilCondition{2, 200'000, 80'000, 1500, 1},
                                   WindowEntry{3, 10'000, kForever},
                                   WindowEntry{4, 0, 20'000},
                                   EventEntry{0, 13, RelayTo{0}},
                                   SegmentEndEntry{7},
                               });
}

TEST_CASE("a limit never becomes narrower on the wire than the value right at it", "[board][units]") {
  CHECK(wire_limit({kSupply, 0, 4.9999999, rig::Amperes{0.5}, 100}, some_map()) ==
        WireLimit{10, 0, 5'000'000, 500'000, 100});
  CHECK(wire_limit({kSupply, 0.1, 5.0, {}, 0}, some_map()) == WireLimit{10, 100'000, 5'000'000, 0, 0});
  CHECK(wire_limit({kSupply, -0.0000005, 1, {}, 0}, some_map()).low == -1);
  CHECK(wire_limit({kWheel, 0, 7000, {}, 0}, some_map()) == WireLimit{12, 0, 7'000'000, 0, 0});
  CHECK(wire_limit({kWheel, 0, 1e9, {}, 0}, some_map()).high == std::numeric_limits<std::int32_t>::max());
  CHECK(wire_limit({kRelay, 0, 1, {}, 0}, some_map()) == WireLimit{13, 0, 1, 0, 0});
}

TEST_CASE("a track's options say what is asked of it", "[board][units]") {
  rig::Track track{kSupply, rig::CaptureKind::envelope, 1ms, true, {}};
  CHECK(wire_track(track, some_map()) == WireTrack{10, 1, WireTrack::kThroughout, 10'000, 0, 0, 0});
  track = {kSupply, rig::CaptureKind::triggered, 10us, false, rig::Trigger{rig::Volts{2.5}, true, 1ms, 2ms}};
  CHECK(wire_track(track, some_map()) == WireTrack{10, 3, 14, 100, 2'500'000, 10'000, 20'000});
  track.trigger->threshold = std::monostate{};
  track.trigger->rising = false;
  CHECK(wire_track(track, some_map()).options == WireTrack::kTriggered);
}
