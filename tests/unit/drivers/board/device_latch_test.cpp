#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;

TEST_CASE("without a heartbeat outputs are safe within 250 ms, and the board latches", "[board][device]") {
  for (const bool is_paced : {true, false}) {
    for (const State state : {State::armed, State::playing}) {
      CAPTURE(is_paced, to_text(state));
      drivers::DeviceSettings settings = unpaced();
      settings.paced = is_paced;
      settings.reply_latency = rig::Nanoseconds{0};
      settings.baud = 0;
      Host host{settings};
      host.reach(state);
      host.pass(20 * kMs);
      host.beat();
      host.pass(200 * kMs, false);
      CHECK(host.device.state() == state);
      host.pass(50 * kMs, false);
      CHECK(host.device.state() == State::safe);
      CHECK(host.device.latch() == EndReason::watchdog);
      CHECK(host.bench.world().outputs_safe);
      CHECK(host.last<Status>()->latch == EndReason::watchdog);
    }
  }
}

TEST_CASE("nothing but a heartbeat of the present session and epoch feeds the lease", "[board][device]") {
  Host host;
  host.reach(State::playing);
  for (int i = 0; i < 30 && host.device.state() == State::playing; ++i) {
    host.pass(10 * kMs, false);
    host.ask(GetPorts{0});
    host.put(Clock{1});
    host.put(Resend{host.epoch, 0, 1});
    host.put(Queue{host.epoch, 100, Host::segment(9, 10)});
    host.put(Heartbeat{host.epoch + 1, 0});
    host.put({static_cast<std::uint16_t>(host.session ^ 1), 0, Heartbeat{host.epoch, 0}});
  }
  CHECK(host.device.latch() == EndReason::watchdog);
  CHECK(host.bench.world().outputs_safe);
}

TEST_CASE("a latched board refuses to load until the latch that was read is acknowledged", "[board][device]") {
  Host host;
  host.reach(State::playing);
  host.pass(300 * kMs, false);
  REQUIRE(host.device.latch() == EndReason::watchdog);
  const Message reply = host.ask(Load{});
  CHECK(Host::code(reply) == ErrorCode::latched);
  CHECK(std::get<Error>(reply).detail == static_cast<std::uint16_t>(EndReason::watchdog));
  CHECK(host.refused(Acknowledge{EndReason::underrun}) == ErrorCode::still_active);
  CHECK_FALSE(host.refused(Acknowledge{EndReason::watchdog}));
  CHECK(host.device.latch() == EndReason::none);
  CHECK_FALSE(host.refused(Load{}));
}

TEST_CASE("an acknowledgement may be said twice, and is out of place in any state but safe", "[board][device]") {
  Host host;
  host.hello();
  CHECK_FALSE(host.refused(Acknowledge{EndReason::watchdog}));
  CHECK_FALSE(host.refused(Acknowledge{EndReason::none}));
  host.load_plan();
  CHECK(host.refused(Acknowledge{EndReason::watchdog}) == ErrorCode::wrong_state);
}

TEST_CASE("a queue frame with an entry that nobody can read ends the epoch with a latch", "[board][device]") {
  const auto put = [](Host& host, std::uint32_t epoch) {
    std::vector<std::uint8_t> body = encode({host.session, 0, Queue{epoch, 0, {SegmentEndEntry{1}}}});
    body[body.size() - 6] = 99;  // its kind
    host.put_body(body);
  };
  Host host;
  host.hello();
  host.load_plan();
  SECTION("of the present epoch") {
    put(host, host.epoch);
    CHECK(host.last<Error>().value().code == ErrorCode::malformed);
    CHECK(host.last<Error>()->about == Queue::kNumber);
    CHECK(host.last<Error>()->detail == 0);
    CHECK(host.device.state() == State::safe);
    CHECK(host.device.latch() == EndReason::board_error);
  }
  SECTION("of another epoch it changes nothing") {
    put(host, host.epoch + 1);
    CHECK(host.last<Error>().value().code == ErrorCode::malformed);
    CHECK(host.device.state() == State::loaded);
    CHECK(host.device.latch() == EndReason::none);
  }
}

TEST_CASE("an open interlock makes safe with no host, and cannot be acknowledged while open", "[board][device]") {
  for (const State state : {State::safe, State::loaded, State::armed, State::playing}) {
    CAPTURE(to_text(state));
    Host host;
    host.reach(state);
    host.device.set_interlock(false, host.now);
    host.listen();
    CHECK(host.device.state() == State::safe);
    CHECK(host.device.latch() == EndReason::interlock);
    CHECK(host.bench.world().outputs_safe);
    CHECK((host.last<Status>()->options & Status::kInterlockClosed) == 0);
    CHECK(host.refused(Acknowledge{EndReason::interlock}) == ErrorCode::still_active);
    host.device.set_interlock(true, host.now);
    CHECK_FALSE(host.refused(Acknowledge{EndReason::interlock}));
  }
}

TEST_CASE("a bench that is at fault ends the epoch, latches, and is told of in words", "[board][device]") {
  Host host;
  host.reach(State::playing);
  host.pass(2 * kMs);
  host.bench.world().fails = true;
  host.pass(2 * kMs);
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.latch() == EndReason::board_error);
  CHECK(host.bench.world().outputs_safe);
  CHECK(host.last<Error>().value().code == ErrorCode::board_fault);
  CHECK_THAT(host.last<Error>()->text, Catch::Contains("does not answer"));
}

TEST_CASE("a host that pulls its cable leaves safe outputs and a board for the next", "[board][device]") {
  Host host;
  host.reach(State::playing);
  host.pass(2 * kMs);
  host.device.disconnect(host.now);
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.latch() == EndReason::none);
  CHECK(host.bench.world().outputs_safe);
  host.hello(2);
  CHECK(host.last<HelloAck>().value().host == 2);
  host.queued = 0;
  host.load_plan();
  host.queue(Host::segment(1, 20));
  host.arm();
  host.start();
  CHECK(host.device.state() == State::playing);
}
