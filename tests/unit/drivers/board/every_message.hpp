#pragma once

#include <string>
#include <vector>

#include "drivers/board/messages.hpp"

/// One example of each message of the protocol, with values that would show a swapped or cut field. These are the
/// examples of PROTOCOL.md section 11.
namespace drivers::board {

struct Example {
  std::string name;
  Packet packet;
};

inline std::vector<Entry> every_entry() {
  return {
      SegmentBegin{.id = 7, .until = 1, .length = 5'000'000, .not_before = 400'000},
      UntilCondition{.track = 2, .window = 200'000, .slowest = 80'000, .span = 1500, .module_output = 1},
      WindowEntry{.track = 3, .from = 100'000, .length = kForever},
      EventEntry{.at = 0, .port = 1, .action = StepTo{2'345'678}},
      EventEntry{.at = 10'000, .port = 1, .action = RampTo{-250'000, 1'000'000}},
      EventEntry{.at = 20'000, .port = 4, .action = WirePiece{3'500'000, 0, kForever}},
      EventEntry{.at = 30'000, .port = 2, .action = ToOpen{}},
      EventEntry{.at = 30'000, .port = 3, .action = ToGround{}},
      EventEntry{.at = 40'000, .port = 5, .action = RelayTo{1}},
      EventEntry{.at = 50'000, .port = 0, .action = CurrentLimitTo{250'000}},
      EventEntry{.at = 60'000, .port = 9, .action = WireExchange{0, 500'000, 2, {0x3F, 0x0D}, {0x0D, 0x0A}, 19200}},
      SegmentEndEntry{7},
      EndOfTimeline{0},
  };
}

inline std::vector<Example> every_message() {
  const auto command = [](std::uint16_t sequence, Message message) {
    return Packet{0x1234, sequence, std::move(message)};
  };
  const auto other = [](Message message) { return Packet{0x1234, 0, std::move(message)}; };
  std::vector<Entry> entries = every_entry();
  return {
      {"hello", {0, 0, Hello{0xC0FFEE01, 1, 1, 0}}},
      {"hello_ack",
       {0x1234, 0,
        HelloAck{.host = 0xC0FFEE01,
                 .major = 1,
                 .minor = 2,
                 .state = State::safe,
                 .latch = EndReason::watchdog,
                 .features = 7,
                 .boot = 0xB007B007,
                 .board_time = 123'456'789,
                 .tick_rate = 10'000'000,
                 .tolerance_ppb = 20'000,
                 .queue_entries = 4096,
                 .queue_bytes = 131'072,
                 .resend_bytes = 65'536,
                 .link_bytes_per_second = 250'000,
                 .grid = 10'000,
                 .append_lead = 50'000,
                 .set_points = 0xFF,
                 .captures = 0x1F,
                 .ports = 12,
                 .tracks = 64,
                 .identity = "rig board, serial 0042"}}},
      {"get_ports", command(1, GetPorts{3})},
      {"ports", command(1, Ports{12,
                                 3,
                                 {PortDescription{.name = "source_2",
                                                  .kind = 2,
                                                  .options = PortDescription::kSinks,
                                                  .safe = SafeState::open,
                                                  .order = 1,
                                                  .low = 0,
                                                  .high = 5.5,
                                                  .resolution = 0.0001,
                                                  .accuracy_offset = 0.0005,
                                                  .accuracy_gain = 0.0002,
                                                  .resistance = 100,
                                                  .current_limit = 0.02,
                                                  .slew = 0,
                                                  .captures = 0,
                                                  .set_points = 0x5B,
                                                  .shortest_period_ns = 0,
                                                  .settling_ns = 20'000,
                                                  .skew_ns = -150,
                                                  .travel_ns = 0,
                                                  .more = PortAddition{250, 2'000, 5e-9}}}})},
      {"load", command(2, Load{})},
      {"load_ack", command(2, LoadAck{5})},
      {"limits", command(3, Limits{5, {{1, 0, 5'000'000, 20'000, 0}, {0, 0, 15'000'000, 500'000, 1000}}})},
      {"limits_ack", command(3, Ack{Limits::kNumber})},
      {"wheel",
       command(
           4, WheelPage{5, 4, 4, 0, 1, {0, std::int64_t{90} << 32, std::int64_t{360} << 32, std::int64_t{450} << 32}})},
      {"wheel_ack", command(4, Ack{WheelPage::kNumber})},
      {"plan",
       command(5,
               Plan{5, 0, {{6, 1, WireTrack::kThroughout, 10'000, 0, 0, 0}, {7, 3, 14, 100, 2'500'000, 1000, 5000}}})},
      {"plan_ack", command(5, PlanAck{0, {{0.000152587890625, 0, 1, 100, 250, 50}}})},
      {"starts_from",
       command(6, StartsFrom{5, {{1, WirePortState::kValue, 500'000}, {2, WirePortState::kGrounded, 0}}})},
      {"starts_from_ack", command(6, Ack{StartsFrom::kNumber})},
      {"arm", command(7, Arm{5})},
      {"arm_ack", command(7, ArmAck{5, 0xDEADBEEF, 13})},
      {"start", command(8, Start{5, 123'656'789})},
      {"start_ack", command(8, StartAck{5, 123'656'789})},
      {"advance", command(9, Advance{5, 7})},
      {"advance_ack", command(9, Ack{Advance::kNumber})},
      {"acknowledge", command(10, Acknowledge{EndReason::watchdog})},
      {"acknowledge_ack", command(10, Ack{Acknowledge::kNumber})},
      {"bye", command(11, Bye{})},
      {"bye_ack", command(11, Ack{Bye::kNumber})},
      {"queue", other(Queue{5, 26, entries})},
      {"heartbeat", other(Heartbeat{5, 1042})},
      {"stop", other(Stop{"by hand"})},
      {"resend", other(Resend{5, 1040, 2})},
      {"clock", other(Clock{1'000'000'000})},
      {"status", other(Status{.state = State::playing,
                              .latch = EndReason::none,
                              .last_end = EndReason::completed,
                              .options = 2,
                              .epoch = 5,
                              .boot = 0xB007B007,
                              .board_time = 124'000'000,
                              .next = 39,
                              .playing = 26,
                              .free_entries = 4083,
                              .free_bytes = 130'812,
                              .data = 1043,
                              .supply_uv = 13'799'000,
                              .segment_start = 320'000,
                              .now = 343'211,
                              .bad_frames = 1})},
      {"blocks",
       other(Blocks{5,
                    1040,
                    320'000,
                    {{2, 17, 320'000, 2, BlockFormat::envelope_packed, 0, {16'383, 16'386, 262'152, -5, 3, -17}},
                     {3, 9, 330'000, 2, BlockFormat::i16, 4, {-32'768, 32'767}},
                     {4, 2, 319'000, 3, BlockFormat::edges, 0, {(700 << 1) | 1, 301 << 1, (12'345'678 << 1) | 1}},
                     {5, 0, 320'000, 2, BlockFormat::u8, 0, {0x4F, 0xFF}},
                     {6, 1, 320'000, 1, BlockFormat::i24, 0, {-70'000}},
                     {7, 1, 320'000, 1, BlockFormat::i32, 0, {-9'000'000}},
                     {8, 1, 320'000, 1, BlockFormat::envelope_wide, 0, {-40'000, 40'000, 16}}}})},
      {"record", other(Record{5, 1041, 7, 320'000, 1'120'000, 1, {640'000, -1}})},
      {"flag", other(Flag{5, 1042, 2, 345'600, 6, "source_2 at its rail"})},
      {"clock_ack", other(ClockAck{1'000'000'000, 123'456'000, 123'456'200})},
      {"gone", other(Gone{5, 1001, 3})},
      {"error", command(7, Error{Arm::kNumber, ErrorCode::wrong_start, State::loaded, 2, "source_2 is open"})},
      {"unsupported", command(12, Unsupported{0x0D})},
  };
}

}  // namespace drivers::board
