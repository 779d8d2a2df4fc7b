#pragma once

#include <cstdint>
#include <limits>
#include <optional>
#include <span>
#include <string>
#include <string_view>
#include <variant>
#include <vector>

#include "drivers/board/queue_entries.hpp"

/// The messages of PROTOCOL.md as plain structs, and their bytes. Used by host and board alike.
namespace drivers::board {

constexpr std::uint8_t kMajor = 1, kMinor = 0;
constexpr std::size_t kMaxPayload = 500;               ///< bytes of a frame's payload
constexpr std::uint32_t kNoEntry = ~std::uint32_t{0};  ///< nothing plays
constexpr std::uint16_t kNoPort = 0xFFFF;
constexpr std::int32_t kNoSupply = std::numeric_limits<std::int32_t>::min();

enum class State : std::uint8_t { safe = 0, loaded = 1, armed = 2, playing = 3 };
std::string_view to_text(State state);

/// Why the last epoch ended, and what a latch is.
enum class EndReason : std::uint8_t {
  none = 0,
  completed = 1,
  stopped = 2,
  watchdog = 3,
  interlock = 4,
  underrun = 5,
  board_error = 6,
  hold_expired = 7,
  session_ended = 8,
};
std::string_view to_text(EndReason reason);

enum class ErrorCode : std::uint16_t {
  version = 1,
  busy = 2,
  no_session = 3,
  out_of_order = 4,
  wrong_state = 5,
  latched = 6,
  malformed = 7,
  no_such_port = 8,
  no_such_track = 9,
  out_of_range = 10,
  beyond_limit = 11,
  wrong_kind = 12,
  capture_refused = 13,
  too_many = 14,
  wrong_start = 15,
  wrong_epoch = 16,
  late_start = 17,
  queue_empty = 18,
  no_such_segment = 19,
  still_active = 20,
  grammar = 21,
  bad_wheel = 22,
  board_fault = 23,
};
std::string_view to_text(ErrorCode code);

/// Feature bits of a board.
enum class BoardFeature : std::uint32_t {
  until_on_board = 1u << 0,
  paced = 1u << 1,
  interlock = 1u << 2,
  hold = 1u << 3,
  model = 1u << 4,
  frame = 1u << 5,
  self_test = 1u << 6,
};
constexpr std::uint32_t bit(BoardFeature feature) { return static_cast<std::uint32_t>(feature); }

// --- host to board ---------------------------------------------------------------------------------------------------

struct Hello {
  static constexpr std::uint8_t kNumber = 0x01;
  std::uint32_t host = 0;
  std::uint8_t lowest_major = kMajor, highest_major = kMajor;
  std::uint32_t features = 0;
  friend bool operator==(const Hello&, const Hello&) = default;
};
struct GetPorts {
  static constexpr std::uint8_t kNumber = 0x02;
  std::uint16_t first = 0;
  friend bool operator==(const GetPorts&, const GetPorts&) = default;
};
struct Load {
  static constexpr std::uint8_t kNumber = 0x03;
  friend bool operator==(const Load&, const Load&) = default;
};
struct WireLimit {
  std::uint16_t port = 0;
  std::int32_t low = 0, high = 0;  ///< in the port's set-point unit (uV, mohm), millirpm, or 0 and 1
  std::uint32_t microamperes = 0;
  double slew = 0;  ///< V or ohm a second; 0: the port's own
  friend bool operator==(const WireLimit&, const WireLimit&) = default;
};
struct Limits {
  static constexpr std::uint8_t kNumber = 0x04;
  std::uint32_t epoch = 0;
  std::vector<WireLimit> limits;
  friend bool operator==(const Limits&, const Limits&) = default;
};
/// A page of a wheel's edges; levels alternate from edge 0 of the wheel on.
struct WheelPage {
  static constexpr std::uint8_t kNumber = 0x05;
  std::uint32_t epoch = 0;
  std::uint16_t port = 0, total = 0, first = 0;
  std::uint8_t rising = 0;
  std::vector<std::int64_t> angles;  ///< 2^-32 crank degree
  friend bool operator==(const WheelPage&, const WheelPage&) = default;
};
struct WireTrack {
  static constexpr std::uint8_t kThroughout = 1, kTriggered = 2, kThreshold = 4, kRising = 8;
  std::uint16_t port = 0;
  std::uint8_t kind = 0;  ///< rig::CaptureKind
  std::uint8_t options = 0;
  std::uint64_t period = 0;  ///< ticks
  std::int32_t threshold = 0;
  std::uint64_t before = 0, after = 0;
  friend bool operator==(const WireTrack&, const WireTrack&) = default;
};
struct Plan {
  static constexpr std::uint8_t kNumber = 0x06;
  std::uint32_t epoch = 0;
  std::uint16_t first = 0;
  std::vector<WireTrack> tracks;
  friend bool operator==(const Plan&, const Plan&) = default;
};
struct WirePortState {
  static constexpr std::uint8_t kValue = 0, kOpen = 3, kGrounded = 4;
  std::uint16_t port = 0;
  std::uint8_t kind = kOpen;
  std::int32_t value = 0;
  friend bool operator==(const WirePortState&, const WirePortState&) = default;
};
struct StartsFrom {
  static constexpr std::uint8_t kNumber = 0x07;
  std::uint32_t epoch = 0;
  std::vector<WirePortState> states;
  friend bool operator==(const StartsFrom&, const StartsFrom&) = default;
};
struct Arm {
  static constexpr std::uint8_t kNumber = 0x08;
  std::uint32_t epoch = 0;
  friend bool operator==(const Arm&, const Arm&) = default;
};
struct Start {
  static constexpr std::uint8_t kNumber = 0x09;
  std::uint32_t epoch = 0;
  std::uint64_t at = 0;
  friend bool operator==(const Start&, const Start&) = default;
};
struct Advance {
  static constexpr std::uint8_t kNumber = 0x0A;
  std::uint32_t epoch = 0, segment = 0;
  friend bool operator==(const Advance&, const Advance&) = default;
};
struct Acknowledge {
  static constexpr std::uint8_t kNumber = 0x0B;
  EndReason reason{};
  friend bool operator==(const Acknowledge&, const Acknowledge&) = default;
};
struct Bye {
  static constexpr std::uint8_t kNumber = 0x0C;
  friend bool operator==(const Bye&, const Bye&) = default;
};

struct Queue {
  static constexpr std::uint8_t kNumber = 0x40;
  std::uint32_t epoch = 0, first = 0;
  std::vector<Entry> entries;
  friend bool operator==(const Queue&, const Queue&) = default;
};
struct Heartbeat {
  static constexpr std::uint8_t kNumber = 0x41;
  std::uint32_t epoch = 0, wanted = 0;
  friend bool operator==(const Heartbeat&, const Heartbeat&) = default;
};
struct Stop {
  static constexpr std::uint8_t kNumber = 0x42;
  std::string why;
  friend bool operator==(const Stop&, const Stop&) = default;
};
struct Resend {
  static constexpr std::uint8_t kNumber = 0x43;
  std::uint32_t epoch = 0, first = 0;
  std::uint16_t count = 0;
  friend bool operator==(const Resend&, const Resend&) = default;
};
struct Clock {
  static constexpr std::uint8_t kNumber = 0x44;
  std::uint64_t t1 = 0;
  friend bool operator==(const Clock&, const Clock&) = default;
};

// --- board to host ---------------------------------------------------------------------------------------------------

struct HelloAck {
  static constexpr std::uint8_t kNumber = 0x81;
  std::uint32_t host = 0;
  std::uint8_t major = kMajor, minor = kMinor;
  State state{};
  EndReason latch{};
  std::uint32_t features = 0, boot = 0;
  std::uint64_t board_time = 0;
  std::uint32_t tick_rate = 0, tolerance_ppb = 0, queue_entries = 0, queue_bytes = 0, resend_bytes = 0,
                link_bytes_per_second = 0;
  std::uint32_t grid = 0, append_lead = 0, set_points = 0, captures = 0;
  std::uint16_t ports = 0, tracks = 0;
  std::string identity;
  friend bool operator==(const HelloAck&, const HelloAck&) = default;
};
enum class SafeState : std::uint8_t {
  open = 0,
  grounded = 1,
  off = 2,
  relay_open = 3,
  relay_closed = 4,
  not_an_output = 255
};
struct PortDescription {
  static constexpr std::uint8_t kModuleSide = 1;
  std::string name;
  std::uint8_t kind = 0;  ///< rig::PortKind
  std::uint8_t options = 0;
  SafeState safe = SafeState::not_an_output;
  std::uint8_t order = 0;
  double low = 0, high = 0, resolution = 0, accuracy_offset = 0, accuracy_gain = 0, resistance = 0, current_limit = 0,
         slew = 0;
  std::uint32_t captures = 0, set_points = 0, shortest_period_ns = 0, settling_ns = 0;
  std::int32_t skew_ns = 0;
  std::uint32_t travel_ns = 0;
  friend bool operator==(const PortDescription&, const PortDescription&) = default;
};
struct Ports {
  static constexpr std::uint8_t kNumber = 0x82;
  std::uint16_t total = 0, first = 0;
  std::vector<PortDescription> ports;
  friend bool operator==(const Ports&, const Ports&) = default;
};
struct LoadAck {
  static constexpr std::uint8_t kNumber = 0x83;
  std::uint32_t epoch = 0;
  friend bool operator==(const LoadAck&, const LoadAck&) = default;
};
/// The empty reply of a command; `of` is the command's number.
struct Ack {
  std::uint8_t of = 0;
  friend bool operator==(const Ack&, const Ack&) = default;
};
struct WireTrackInfo {
  double scale = 1, offset = 0;
  std::uint16_t clock = 0;
  std::uint32_t resolution_ns = 0;
  std::int32_t skew_ns = 0;
  std::uint32_t uncertainty_ns = 0;
  friend bool operator==(const WireTrackInfo&, const WireTrackInfo&) = default;
};
struct PlanAck {
  static constexpr std::uint8_t kNumber = 0x86;
  std::uint16_t first = 0;
  std::vector<WireTrackInfo> tracks;
  friend bool operator==(const PlanAck&, const PlanAck&) = default;
};
struct ArmAck {
  static constexpr std::uint8_t kNumber = 0x88;
  std::uint32_t epoch = 0, digest = 0, entries = 0;
  friend bool operator==(const ArmAck&, const ArmAck&) = default;
};
struct StartAck {
  static constexpr std::uint8_t kNumber = 0x89;
  std::uint32_t epoch = 0;
  std::uint64_t at = 0;
  friend bool operator==(const StartAck&, const StartAck&) = default;
};
struct Status {
  static constexpr std::uint8_t kNumber = 0xC0;
  static constexpr std::uint8_t kOutputsSafe = 1, kInterlockClosed = 2, kHolding = 4;
  State state{};
  EndReason latch{}, last_end{};
  std::uint8_t options = 0;
  std::uint32_t epoch = 0, boot = 0;
  std::uint64_t board_time = 0;
  std::uint32_t next = 0, playing = kNoEntry, free_entries = 0, free_bytes = 0, data = 0;
  std::int32_t supply_uv = kNoSupply;
  std::uint64_t segment_start = 0, now = 0;
  std::uint16_t bad_frames = 0;
  friend bool operator==(const Status&, const Status&) = default;
};
enum class BlockFormat : std::uint8_t {
  u8 = 1,
  i16 = 2,
  i24 = 3,
  i32 = 4,
  envelope_packed = 5,
  envelope_wide = 6,
  edges = 7
};
/// `values` as in rig::Block: three to a bin, edges as (delta << 1) | level.
struct WireBlock {
  std::uint16_t track = 0, block = 0;
  std::int64_t first = 0;  ///< ticks since start; on the wire as a 32 bit distance from the frame's base
  std::uint16_t count = 0;
  BlockFormat format = BlockFormat::i16;
  std::uint32_t dropped_before = 0;
  std::vector<std::int32_t> values;
  friend bool operator==(const WireBlock&, const WireBlock&) = default;
};
struct Blocks {
  static constexpr std::uint8_t kNumber = 0xC1;
  std::uint32_t epoch = 0, number = 0;
  std::uint64_t base = 0;
  std::vector<WireBlock> blocks;
  friend bool operator==(const Blocks&, const Blocks&) = default;
};
constexpr std::size_t kBlocksHead = 17;         ///< payload bytes of a Blocks before its first block
std::size_t wire_size(const WireBlock& block);  ///< payload bytes of one block
/// The smallest format that holds a block's values. `kind` is a rig::CaptureKind.
BlockFormat smallest_format(std::uint8_t kind, std::span<const std::int32_t> values);

struct Record {
  static constexpr std::uint8_t kNumber = 0xC2;
  std::uint32_t epoch = 0, number = 0, segment = 0;
  std::uint64_t start = 0, end = 0;
  std::uint8_t reason = 0;            ///< rig::SegmentEnd
  std::vector<std::int64_t> settled;  ///< -1: not
  friend bool operator==(const Record&, const Record&) = default;
};
struct Flag {
  static constexpr std::uint8_t kNumber = 0xC3;
  std::uint32_t epoch = 0, number = 0;
  std::uint8_t kind = 0;  ///< rig::RigFlag::Kind
  std::uint64_t at = 0;
  std::uint16_t port = kNoPort;
  std::string text;
  friend bool operator==(const Flag&, const Flag&) = default;
};
struct ClockAck {
  static constexpr std::uint8_t kNumber = 0xC4;
  std::uint64_t t1 = 0, t2 = 0, t3 = 0;
  friend bool operator==(const ClockAck&, const ClockAck&) = default;
};
struct Gone {
  static constexpr std::uint8_t kNumber = 0xC5;
  std::uint32_t epoch = 0, first = 0;
  std::uint16_t count = 0;
  friend bool operator==(const Gone&, const Gone&) = default;
};
struct Error {
  static constexpr std::uint8_t kNumber = 0xC6;
  std::uint8_t about = 0;
  ErrorCode code{};
  State state{};
  std::uint16_t detail = 0;
  std::string text;
  friend bool operator==(const Error&, const Error&) = default;
};
struct Unsupported {
  static constexpr std::uint8_t kNumber = 0xC7;
  std::uint8_t about = 0;
  friend bool operator==(const Unsupported&, const Unsupported&) = default;
};

using Message =
    std::variant<Hello, GetPorts, Load, Limits, WheelPage, Plan, StartsFrom, Arm, Start, Advance, Acknowledge, Bye,
                 Queue, Heartbeat, Stop, Resend, Clock, HelloAck, Ports, LoadAck, Ack, PlanAck, ArmAck, StartAck,
                 Status, Blocks, Record, Flag, ClockAck, Gone, Error, Unsupported>;

/// What a frame carries between its length and its CRC (drivers/link/frame.hpp adds those).
struct Packet {
  std::uint16_t session = 0;
  std::uint16_t sequence = 0;
  Message message;
  friend bool operator==(const Packet&, const Packet&) = default;
};

/// The message number a packet bears on the wire.
std::uint8_t number_of(const Message& message);
/// A command: numbered, answered by exactly one reply.
constexpr bool is_command(std::uint8_t number) { return number >= 0x02 && number <= 0x3F; }

/// Session to payload. REQUIRES: the payload fits (texts are cut to 255 bytes; counts are the caller's business):
/// asserts otherwise.
std::vector<std::uint8_t> encode(const Packet& packet);
/// The payload alone, as the digest of `arm` runs over it.
std::vector<std::uint8_t> encode_payload(const Message& message);

/// Why bytes of a sound frame are no packet. Header fields are filled as far as they were there.
struct DecodeError {
  enum class Kind : std::uint8_t { unknown_number, malformed } kind{};
  std::uint16_t session = 0, sequence = 0;
  std::uint8_t number = 0;
};
/// Total: any bytes give a packet or an error. Bytes beyond what is known are left unread.
std::variant<Packet, DecodeError> decode(std::span<const std::uint8_t> body);

}  // namespace drivers::board
