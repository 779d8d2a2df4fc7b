#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;
using Code = ErrorCode;

TEST_CASE("hello opens a session and tells what the board can do", "[board][device]") {
  Host host;
  host.hello();
  const HelloAck ack = host.last<HelloAck>().value();
  CHECK(ack.host == 77);
  CHECK(host.session != 0);
  CHECK(ack.major == 1);
  CHECK(ack.state == State::safe);
  CHECK(ack.tick_rate == 10'000'000);
  CHECK(ack.grid == 10'000);
  CHECK(ack.ports == 8);
  CHECK(ack.identity == "toy bench");
  CHECK(ack.queue_entries >= 1024);  // PROTOCOL.md section 4
  CHECK(ack.queue_bytes >= 32768);
  CHECK(ack.resend_bytes >= 65536);  // section 6
  CHECK((ack.features & bit(BoardFeature::until_on_board)) != 0);
  CHECK((ack.features & bit(BoardFeature::paced)) == 0);
  CHECK((ack.features & bit(BoardFeature::triggered)) != 0);  // of its sense
}

TEST_CASE("the same host's hello is answered with the same frame and changes nothing", "[board][device]") {
  Host host;
  host.reach(State::playing);
  host.pass(20 * kMs);
  const auto first = host.all<HelloAck>().front();
  const std::uint16_t session = host.session;
  const std::uint16_t sequence = host.sequence;
  host.hello();
  CHECK(host.session == session);
  CHECK(host.last<HelloAck>().value() == first);
  CHECK(host.device.state() == State::playing);
  host.sequence = sequence;
  CHECK_FALSE(host.refused(GetPorts{0}));
}

TEST_CASE("a second host is refused until the first has been silent for a second", "[board][device]") {
  Host host;
  host.hello(1);
  host.pass(999 * kMs, false);
  host.hello(2);
  CHECK(host.last<Error>().value().code == Code::busy);
  host.pass(kMs, false);
  host.hello(2);
  CHECK(host.last<HelloAck>().value().host == 2);
}

TEST_CASE("a second host is refused however long the first is silent while the board plays", "[board][device]") {
  for (const State state : {State::armed, State::playing}) {
    Host host;
    host.reach(state);
    for (int i = 0; i < 30; ++i) {
      host.now += 50 * kMs;
      host.device.receive(drivers::link::encode_frame(encode({host.session, 0, Heartbeat{host.epoch, 0}})), host.now);
      host.put({0, 0, Hello{2, 1, 1, 0}});
      CHECK(host.last<Error>().value().code == Code::busy);
    }
    CHECK(host.device.state() == state);
  }
}

TEST_CASE("another host's hello takes a loaded board back to safe", "[board][device]") {
  Host host;
  host.reach(State::loaded);
  host.pass(1000 * kMs, false);
  const std::uint16_t old = host.session;
  host.hello(2);
  CHECK(host.device.state() == State::safe);
  CHECK(host.session != old);
  host.put({old, 1, Load{}});
  CHECK(host.last<Error>().value().code == Code::no_session);
}

TEST_CASE("a host that speaks no version of the board's is told which it speaks", "[board][device]") {
  Host host;
  host.put({0, 0, Hello{7, 2, 3, 0}});
  const Error error = host.last<Error>().value();
  CHECK(error.code == Code::version);
  CHECK(error.text == "this board speaks version 1 only, the host 2 to 3");
  host.put({0, 0, Hello{7, 1, 3, 0}});
  CHECK(host.last<HelloAck>().value().major == 1);
}

TEST_CASE("a repeated command is not carried out again: its reply is repeated", "[board][device]") {
  Host host;
  host.hello();
  host.load();
  const std::uint16_t number = host.sequence;
  const std::uint32_t epoch = host.epoch;
  for (int i = 0; i < 7; ++i) host.ask(GetPorts{0});
  host.heard.clear();
  host.put({host.session, number, Load{}});
  REQUIRE(host.heard.size() == 1);
  CHECK(std::get<LoadAck>(host.heard[0].message).epoch == epoch);
  CHECK(host.heard[0].sequence == number);
  SECTION("but only while it is among the last eight") {
    host.ask(GetPorts{0});
    host.heard.clear();
    host.put({host.session, number, Load{}});
    REQUIRE(host.heard.size() == 1);
    CHECK(Host::code(host.heard[0].message) == Code::out_of_order);
  }
  SECTION("and so are refusals") {
    CHECK(host.refused(Start{epoch, 0}) == Code::wrong_state);
    host.put({host.session, host.sequence, Start{epoch, 0}});
    CHECK(Host::code(host.heard.back().message) == Code::wrong_state);
    CHECK(host.heard.back().sequence == host.sequence);
  }
}

TEST_CASE("a command out of order is dropped, and the board says which it expects", "[board][device]") {
  Host host;
  host.hello();
  host.put({host.session, 2, Load{}});
  CHECK(host.heard.back().sequence == 0);
  const Error error = host.last<Error>().value();
  CHECK(error.code == Code::out_of_order);
  CHECK(error.detail == 1);
  CHECK(error.about == Load::kNumber);
  CHECK(host.device.state() == State::safe);
}

TEST_CASE("sequence numbers go from 65535 to 1", "[board][device]") {
  Host host;
  host.hello();
  for (int i = 0; i < 65535; ++i) {
    host.ask(Load{});
    if (host.heard.size() > 100) host.heard.clear();
  }
  CHECK(host.sequence == 65535);
  CHECK(std::holds_alternative<LoadAck>(host.ask(Load{})));
  CHECK(host.sequence == 1);
}

TEST_CASE("messages the board does not know are answered with unsupported", "[board][device]") {
  Host host;
  host.hello();
  const auto raw = [&](std::uint16_t sequence, std::uint8_t number) {
    auto body = encode({host.session, sequence, Load{}});
    body[4] = number;
    host.put_body(body);
    return host.heard.back();
  };
  SECTION("a command uses up its number") {
    const Packet reply = raw(1, 0x0D);
    CHECK(std::get<Unsupported>(reply.message).about == 0x0D);
    CHECK(reply.sequence == 1);
    host.sequence = 1;
    CHECK(std::holds_alternative<LoadAck>(host.ask(Load{})));
  }
  SECTION("others have none") {
    for (const std::uint8_t number : {0x00, 0x45, 0x7F, 0x81, 0xC0, 0xFF}) {
      const Packet reply = raw(0, number);
      CHECK(std::get<Unsupported>(reply.message).about == number);
      CHECK(reply.sequence == 0);
    }
  }
}

TEST_CASE("a message shorter than its fields is malformed, a longer one is read as far as it is known",
          "[board][device]") {
  Host host;
  host.hello();
  host.load();
  auto body = encode({host.session, 2, Limits{host.epoch, host.limits()}});
  body.pop_back();
  host.put_body(body);
  CHECK(Host::code(host.heard.back().message) == Code::malformed);
  CHECK(host.heard.back().sequence == 2);
  body = encode({host.session, 3, Limits{host.epoch, host.limits()}});
  body.insert(body.end(), {1, 2, 3});
  host.put_body(body);
  CHECK(std::holds_alternative<Ack>(host.heard.back().message));
}

TEST_CASE("the clock is told on receipt and on sending, unnumbered", "[board][device]") {
  drivers::DeviceSettings settings;  // paced, 1 ms of latency
  Host host{settings};
  host.put({0, 0, Hello{7, 1, 1, 0}});
  host.pass(2 * kMs, false);
  host.session = host.heard.back().session;
  const rig::Nanoseconds asked = host.now;
  host.put(Clock{0x123456789ABCDEF0});
  host.pass(2 * kMs, false);
  const ClockAck ack = host.last<ClockAck>().value();
  CHECK(ack.t1 == 0x123456789ABCDEF0);
  CHECK(ack.t2 == static_cast<std::uint64_t>(asked.count() / 100));
  CHECK(ack.t3 - ack.t2 == 10'000);
}

TEST_CASE("ports are told in pages that fit a frame", "[board][device]") {
  Host host;
  host.hello();
  std::vector<std::string> names;
  for (std::uint16_t first = 0; first < 8;) {
    const auto page = std::get<Ports>(host.ask(GetPorts{first}));
    CHECK(page.total == 8);
    CHECK(page.first == first);
    REQUIRE_FALSE(page.ports.empty());
    for (const auto& port : page.ports) names.push_back(port.name);
    first = static_cast<std::uint16_t>(first + page.ports.size());
  }
  CHECK(names ==
        std::vector<std::string>{"battery", "source", "pulses", "relay", "sense", "edges", "service", "current"});
  CHECK(std::get<Ports>(host.ask(GetPorts{8})).ports.empty());
}

TEST_CASE("a status counts what has gone out while the board plays, and everything once it is safe",
          "[board][device]") {
  drivers::DeviceSettings settings;
  settings.reply_latency = rig::Nanoseconds{0};
  Host host{settings};
  host.reach(State::playing);
  host.pass(25 * kMs);
  CHECK(host.status().data == host.wanted());
  host.device.set_interlock(false, host.now);
  CHECK(host.status().data > host.wanted());
}
