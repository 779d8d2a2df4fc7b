#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;
using Code = ErrorCode;

namespace {

/// The error that a segment with this entry in its middle brings about; nothing: it is taken.
std::optional<Code> code_of_entry(const Entry& entry) {
  Host host;
  host.hello();
  host.load_plan();
  host.queue({SegmentBegin{1, 1, 1'000'000, 0}});
  host.heard.clear();
  host.queue({entry});
  const auto error = host.last<Error>();
  if (!error) return {};
  CHECK(error->detail == 1);  // the entry's number
  CHECK(error->about == Queue::kNumber);
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.latch() == EndReason::board_error);
  return error->code;
}

std::optional<Code> code_of(std::uint16_t port, decltype(EventEntry::action) action) {
  return code_of_entry(EventEntry{0, port, std::move(action)});
}

}  // namespace

TEST_CASE("a value beyond a range or a limit ends the epoch before anything is set", "[board][device]") {
  CHECK_FALSE(code_of(toy::battery, StepTo{16'000'000}));
  CHECK(code_of(toy::battery, StepTo{16'000'001}) == Code::beyond_limit);
  CHECK(code_of(toy::battery, StepTo{-1}) == Code::out_of_range);
  CHECK(code_of(toy::battery, StepTo{20'000'001}) == Code::out_of_range);
  CHECK(code_of(toy::source, RampTo{5'200'001, 1000}) == Code::beyond_limit);
  CHECK_FALSE(code_of(toy::battery, CurrentLimitTo{2'000'000}));
  CHECK(code_of(toy::battery, CurrentLimitTo{2'000'001}) == Code::beyond_limit);
  CHECK_FALSE(code_of(toy::pulses, WirePiece{9'000'000, 0, kForever}));
  CHECK(code_of(toy::pulses, WirePiece{12'000'001, 0, kForever}) == Code::out_of_range);
  CHECK(code_of(toy::relay, RelayTo{2}) == Code::out_of_range);
}

TEST_CASE("a speed piece is held to its limits at both ends, and stops rather than turn back", "[board][device]") {
  // 1000 rpm/s for 1 s from 11,500 rpm ends at 12,500 rpm
  CHECK(code_of(toy::pulses, WirePiece{11'500'000, 1'000'000, 10'000'000}) == Code::out_of_range);
  CHECK_FALSE(code_of(toy::pulses, WirePiece{500'000, -1'000'000, 10'000'000}));
  CHECK(code_of(toy::pulses, WirePiece{-1, 0, kForever}) == Code::out_of_range);
  CHECK(code_of(toy::pulses, WirePiece{1'000'000, 1, kForever}) == Code::out_of_range);
}

TEST_CASE("an output without limits may not be driven", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  host.ask(Limits{host.epoch, {{toy::battery, 0, 16'000'000, 0, 0}}});
  host.queue({SegmentBegin{1, 0, 10'000, 0}, EventEntry{0, toy::source, StepTo{0}}});
  CHECK(host.last<Error>().value().code == Code::beyond_limit);
  CHECK(host.last<Error>()->text == "port 'source': no limits were loaded, so it may not be driven");
}

TEST_CASE("a set-point of the wrong kind, port, track or place is refused by name", "[board][device]") {
  CHECK(code_of(toy::sense, StepTo{0}) == Code::wrong_kind);
  CHECK(code_of(toy::relay, StepTo{0}) == Code::wrong_kind);
  CHECK(code_of(toy::battery, WirePiece{0, 0, kForever}) == Code::wrong_kind);
  CHECK(code_of(77, StepTo{0}) == Code::no_such_port);
  CHECK(code_of_entry(WindowEntry{9, 0, kForever}) == Code::no_such_track);
  CHECK(code_of_entry(UntilCondition{9, 40'000, 10'000, 1000, 1}) == Code::no_such_track);
  CHECK(code_of_entry(UntilCondition{1, 40'000, 10'000, 1000, 1}) == Code::grammar);  // samples, no envelope
  CHECK(code_of_entry(UntilCondition{0, 45'000, 10'000, 1000, 1}) == Code::grammar);  // no whole bins
  CHECK_FALSE(code_of_entry(UntilCondition{0, 40'000, 10'000, 1000, 1}));
  CHECK(code_of_entry(SegmentBegin{2, 0, 10'000, 0}) == Code::grammar);
  CHECK(code_of_entry(SegmentEndEntry{2}) == Code::grammar);
  CHECK(code_of_entry(SegmentEndEntry{1}) == Code::grammar);  // it waits for nothing
  CHECK(code_of_entry(EndOfTimeline{0}) == Code::grammar);
}

TEST_CASE("a track that is to be triggered says by what, runs in windows, and keeps something", "[board][device]") {
  constexpr std::uint8_t kTriggered = WireTrack::kTriggered;
  Host host;
  host.hello();
  host.load();
  const auto refused = [&](const WireTrack& track) { return host.refused(Plan{host.epoch, 0, {track}}); };
  CHECK(refused({toy::sense, 3, 0, 1'000, 0, 10'000, 1'000}) == Code::capture_refused);
  CHECK(refused({toy::sense, 0, kTriggered, 1'000, 0, 10'000, 1'000}) == Code::capture_refused);
  CHECK(refused({toy::sense, 3, kTriggered | WireTrack::kThroughout, 1'000, 0, 10'000, 1'000}) ==
        Code::capture_refused);
  CHECK(refused({toy::sense, 3, kTriggered, 1'000, 0, 0, 500}) == Code::capture_refused);
  CHECK(refused({toy::sense, 3, kTriggered, 999, 0, 10'000, 1'000}) == Code::capture_refused);
  CHECK(refused({toy::current, 3, kTriggered, 1'000, 0, 10'000, 1'000}) == Code::capture_refused);
  CHECK(refused({toy::sense, 3, kTriggered, 1'000, 0, 15'000, 1'000}) == Code::capture_refused);
  CHECK_FALSE(refused({toy::sense, 3, kTriggered, 1'000, 0, 20'000, 0}));
  SECTION("a window does not reach back beyond its segment") {
    host.queue({SegmentBegin{1, 0, 100'000, 0}, WindowEntry{0, 20'000, kForever}, SegmentEndEntry{1}});
    CHECK(host.device.latch() == EndReason::none);
    host.queue({SegmentBegin{2, 0, 100'000, 0}, WindowEntry{0, 10'000, kForever}});
    CHECK(host.last<Error>()->code == Code::grammar);
    CHECK(host.device.latch() == EndReason::board_error);
  }
}

TEST_CASE("limits are refused whole when one of them is wrong", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  const auto code = [&](WireLimit limit) {
    return host.refused(Limits{host.epoch, {{toy::battery, 0, 1, 0, 0}, limit}});
  };
  CHECK(code({99, 0, 1, 0, 0}) == Code::no_such_port);
  CHECK(code({toy::sense, 0, 1, 0, 0}) == Code::wrong_kind);
  CHECK(code({toy::source, 0, 5'500'001, 0, 0}) == Code::out_of_range);
  CHECK(code({toy::source, 2, 1, 0, 0}) == Code::malformed);
  CHECK(code({toy::source, 0, 1, 0, -1}) == Code::malformed);
  host.queue({SegmentBegin{1, 0, 10'000, 0}, EventEntry{0, toy::battery, StepTo{0}}});
  CHECK(host.last<Error>().value().code == Code::beyond_limit);  // no limit was taken
}

TEST_CASE("a plan is refused for what a port does not offer", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  const auto code = [&](WireTrack track) { return host.refused(Plan{host.epoch, 0, {track}}); };
  CHECK(code({99, 0, 0, 10'000, 0, 0, 0}) == Code::no_such_port);
  CHECK(code({toy::battery, 0, 0, 10'000, 0, 0, 0}) == Code::wrong_kind);
  CHECK(code({toy::sense, 2, 0, 0, 0, 0, 0}) == Code::capture_refused);
  CHECK(code({toy::sense, 33, 0, 10'000, 0, 0, 0}) == Code::capture_refused);
  CHECK(code({toy::sense, 0, 0, 999, 0, 0, 0}) == Code::capture_refused);
  CHECK(code({toy::sense, 1, 1, 15'000, 0, 0, 0}) == Code::capture_refused);
  CHECK(code({toy::sense, 0, 0, 0, 0, 0, 0}) == Code::capture_refused);
  CHECK_FALSE(code({toy::sense, 0, 0, 1000, 0, 0, 0}));
  CHECK(host.refused(Plan{host.epoch, 0, {{toy::sense, 0, 0, 1000, 0, 0, 0}}}) == Code::malformed);
  for (std::uint16_t first = 1; first < 256; first = static_cast<std::uint16_t>(first + 15))
    CHECK_FALSE(host.refused(Plan{host.epoch, first, std::vector<WireTrack>(15, {toy::sense, 0, 0, 1000, 0, 0, 0})}));
  CHECK(host.refused(Plan{host.epoch, 256, {{toy::sense, 0, 0, 1000, 0, 0, 0}}}) == Code::too_many);
}

TEST_CASE("a plan is answered with the scale of every track", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  const auto ack = std::get<PlanAck>(host.ask(Plan{host.epoch, 0, host.tracks()}));
  CHECK(ack.first == 0);
  REQUIRE(ack.tracks.size() == 4);
  CHECK(ack.tracks[0].scale == 0.001);
}

TEST_CASE("a wheel must be whole, in order, and the bench's own", "[board][device]") {
  constexpr std::int64_t kDegree = rig::kFixedDegree;
  drivers::DeviceSettings settings = unpaced();
  const auto page = [](const Host& host, std::uint16_t total, std::uint16_t first, std::vector<std::int64_t> angles) {
    return WheelPage{host.epoch, toy::pulses, total, first, 1, std::move(angles)};
  };
  SECTION("pages in order") {
    Host host{settings};
    host.hello();
    host.load();
    CHECK_FALSE(host.refused(page(host, 4, 0, {0, kDegree})));
    CHECK(host.refused(page(host, 4, 3, {3 * kDegree})) == Code::bad_wheel);
    CHECK(host.refused(Arm{host.epoch}) == Code::bad_wheel);  // incomplete
    CHECK_FALSE(host.refused(page(host, 4, 2, {2 * kDegree, 3 * kDegree})));
    CHECK_FALSE(host.refused(Arm{host.epoch}));
  }
  SECTION("angles in order, inside a cycle, an even count") {
    Host host{settings};
    host.hello();
    host.load();
    CHECK(host.refused(page(host, 2, 0, {kDegree, kDegree})) == Code::bad_wheel);
    CHECK(host.refused(page(host, 2, 0, {kDegree, 720 * kDegree})) == Code::bad_wheel);
    CHECK(host.refused(page(host, 3, 0, {0, kDegree, 2 * kDegree})) == Code::bad_wheel);
    CHECK(host.refused(WheelPage{host.epoch, toy::battery, 2, 0, 1, {0, kDegree}}) == Code::wrong_kind);
  }
  SECTION("another than the bench was started with is refused") {
    settings.wheel = rig::Wheel{{{0, true}, {kDegree, false}}};
    Host host{settings};
    host.hello();
    host.load();
    CHECK(host.refused(page(host, 2, 0, {0, 2 * kDegree})) == Code::bad_wheel);
    CHECK_FALSE(host.refused(page(host, 2, 0, {0, kDegree})));
  }
}

TEST_CASE("arming is refused when an output is not in the state the timeline starts from", "[board][device]") {
  const auto code = [](WirePortState state) {
    Host host;
    host.hello();
    host.load_plan();
    host.ask(StartsFrom{host.epoch, {state}});
    return host.refused(Arm{host.epoch});
  };
  CHECK_FALSE(code({toy::source, WirePortState::kOpen, 0}));
  CHECK_FALSE(code({toy::battery, WirePortState::kValue, 0}));
  CHECK(code({toy::source, WirePortState::kGrounded, 0}) == Code::wrong_start);
  CHECK(code({toy::battery, WirePortState::kValue, 13'800'000}) == Code::wrong_start);
}
