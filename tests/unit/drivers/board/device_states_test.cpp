#include "tests/unit/catch.hpp"
#include "tests/unit/drivers/board/talk.hpp"

using namespace talk;
using Code = ErrorCode;

namespace {

/// What a message does in each state: nothing where it is carried out, else the error. PROTOCOL.md section 3.
struct Row {
  std::string name;
  std::function<Message(const Host&)> message;
  std::optional<Code> safe, loaded, armed, playing;
};

const std::vector<Row>& rows() {
  static const std::vector<Row> table{
      {"get_ports", [](const Host&) { return GetPorts{0}; }, {}, {}, {}, {}},
      {"load", [](const Host&) { return Load{}; }, {}, {}, Code::wrong_state, Code::wrong_state},
      {"limits",
       [](const Host& h) {
         return Limits{h.epoch, h.limits()};
       },
       Code::wrong_state,
       {},
       Code::wrong_state,
       Code::wrong_state},
      {"wheel",
       [](const Host& h) {
         return WheelPage{h.epoch, toy::pulses, 2, 0, 1, {0, rig::kFixedDegree * 90}};
       },
       Code::wrong_state,
       {},
       Code::wrong_state,
       Code::wrong_state},
      {"plan",
       [](const Host& h) {
         return Plan{h.epoch, 4, h.tracks()};
       },
       Code::wrong_state,
       {},
       Code::wrong_state,
       Code::wrong_state},
      {"starts_from",
       [](const Host& h) {
         return StartsFrom{h.epoch, {{toy::source, WirePortState::kOpen, 0}}};
       },
       Code::wrong_state,
       {},
       Code::wrong_state,
       Code::wrong_state},
      {"arm", [](const Host& h) { return Arm{h.epoch}; }, Code::wrong_state, {}, Code::wrong_state, Code::wrong_state},
      {"start",
       [](const Host& h) {
         return Start{h.epoch, 0};
       },
       Code::wrong_state,
       Code::wrong_state,
       {},
       Code::wrong_state},
      {"advance",
       [](const Host& h) {
         return Advance{h.epoch, 1};
       },
       Code::wrong_state,
       Code::wrong_state,
       Code::wrong_state,
       {}},
      {"acknowledge",
       [](const Host&) { return Acknowledge{EndReason::none}; },
       {},
       Code::wrong_state,
       Code::wrong_state,
       Code::wrong_state},
      {"bye", [](const Host&) { return Bye{}; }, {}, {}, {}, {}},
  };
  return table;
}

}  // namespace

TEST_CASE("each command does in each state what the table of the protocol says", "[board][device]") {
  for (const Row& row : rows()) {
    const std::pair<State, std::optional<Code>> cells[] = {
        {State::safe, row.safe}, {State::loaded, row.loaded}, {State::armed, row.armed}, {State::playing, row.playing}};
    for (const auto& [state, expected] : cells) {
      CAPTURE(row.name, to_text(state));
      Host host;
      host.reach(state);
      REQUIRE(host.device.state() == state);
      const Message reply = host.ask(row.message(host));
      CHECK(Host::code(reply) == expected);
      if (expected) {
        CHECK(std::get<Error>(reply).state == state);
        CHECK(host.device.state() == state);
      }
    }
  }
}

TEST_CASE("load, arm, start and bye lead from state to state", "[board][device]") {
  Host host;
  host.hello();
  CHECK(host.device.state() == State::safe);
  host.load_plan();
  CHECK(host.device.state() == State::loaded);
  const std::uint32_t first = host.epoch;
  host.load_plan();
  CHECK(host.epoch == first + 1);
  CHECK(host.device.state() == State::loaded);
  host.queue(Host::segment(1, 300));
  host.arm();
  CHECK(host.device.state() == State::armed);
  host.start();
  CHECK(host.device.state() == State::playing);
  host.pass(kMs);
  CHECK_FALSE(host.bench.world().outputs_safe);
  host.ask(Bye{});
  CHECK(host.device.state() == State::safe);
  CHECK(host.device.last_end() == EndReason::session_ended);
  CHECK(host.device.latch() == EndReason::none);
  CHECK(host.bench.world().outputs_safe);
}

TEST_CASE("stop makes the outputs safe in every state, from anyone, any number of times", "[board][device]") {
  for (const State state : {State::safe, State::loaded, State::armed, State::playing}) {
    for (const bool stranger : {false, true}) {
      CAPTURE(to_text(state), stranger);
      Host host;
      host.reach(state);
      host.pass(5 * kMs);
      host.heard.clear();
      host.put({static_cast<std::uint16_t>(stranger ? host.session + 1 : host.session), 0, Stop{"button"}});
      CHECK(host.device.state() == State::safe);
      CHECK(host.bench.world().outputs_safe);
      CHECK(host.device.outputs_safe());
      CHECK(host.device.latch() == EndReason::none);
      if (state != State::safe) CHECK(host.device.last_end() == EndReason::stopped);
      REQUIRE(host.last<Status>());
      CHECK(host.last<Status>()->state == State::safe);
      CHECK((host.last<Status>()->options & Status::kOutputsSafe) != 0);
      host.put({host.session, 0, Stop{"button"}});
      CHECK(host.device.state() == State::safe);
      host.load();
      CHECK(host.device.state() == State::loaded);
    }
  }
}

TEST_CASE("a stop whose reason was cut short is obeyed all the same", "[board][device]") {
  Host host;
  host.reach(State::playing);
  auto body = encode({host.session, 0, Stop{"button"}});
  body.resize(body.size() - 3);
  host.put_body(body);
  CHECK(host.device.state() == State::safe);
  CHECK(host.bench.world().outputs_safe);
}

TEST_CASE("a board without a session obeys stop and refuses the rest", "[board][device]") {
  Host host;
  host.put({5, 0, Stop{"button"}});
  CHECK(host.last<Status>());
  host.put({5, 9, Load{}});
  REQUIRE(host.last<Error>());
  CHECK(host.last<Error>()->code == Code::no_session);
  CHECK(host.heard.back().session == 5);
  CHECK(host.heard.back().sequence == 9);
}

TEST_CASE("commands of another epoch are refused, and frames dropped", "[board][device]") {
  Host host;
  host.hello();
  host.load_plan();
  host.load_plan();
  const std::uint32_t old = host.epoch - 1;
  CHECK(host.refused(Limits{old, host.limits()}) == Code::wrong_epoch);
  CHECK(host.refused(Plan{old, 0, host.tracks()}) == Code::wrong_epoch);
  CHECK(host.refused(Arm{old}) == Code::wrong_epoch);
  host.put(Queue{old, 0, Host::segment(1, 10)});
  CHECK(host.last<Status>()->next == 0);
  host.put(Queue{host.epoch, 0, Host::segment(1, 10)});
  CHECK(host.last<Status>()->next == 4);
  host.arm();
  CHECK(host.refused(Start{old, 0}) == Code::wrong_epoch);
}
